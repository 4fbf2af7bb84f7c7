package audit

import (
	"context"

	"thawline/internal/policy"
	"thawline/internal/site"
	"thawline/internal/store"
)

// Behind tells which layers of a store do not follow from what they are made
// of: current from the readings, audit from current and the policy. A layer
// that is not there is behind where there is a reading.
type Behind struct {
	Current bool `json:"current"`
	Audit   bool `json:"audit"`
}

// LayersBehind compares, and changes nothing.
func LayersBehind(ctx context.Context, st *store.Store, s *site.Site, p *policy.Policy) (Behind, error) {
	at := clock{s.Zone, s.ZoneName}
	b := &builder{st: st, readings: st.Readings()}
	if _, err := b.load(); err != nil {
		return Behind{}, err
	}
	now, found := st.LayerFacts("current")
	behind := Behind{Current: found && now.From != b.from(at) || !found && len(b.readings) > 0}
	if !found {
		behind.Audit = behind.Current
		return behind, nil
	}
	given, err := givenOf(ctx, s, p)
	if err != nil {
		return behind, err
	}
	if given.Present, err = presentFeeds(st); err != nil {
		return behind, err
	}
	from, err := markFrom(st, at, given)
	if err != nil {
		return behind, err
	}
	marked, _ := st.LayerFacts("audit")
	behind.Audit = behind.Current || marked.From != from
	return behind, nil
}
