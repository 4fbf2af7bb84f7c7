package audit

import (
	"cmp"
	"context"
	"fmt"
	"reflect"
	"slices"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
	"thawline/internal/site"
	"thawline/internal/store"
)

// Comparison is what becomes of the marks of a store under another policy or
// decision table. Episodes are named by pseudonym alone.
type Comparison struct {
	// Values are the policy values that differ; TableDiffers says whether the
	// decision tables do.
	Values       []ValueChange `json:"values"`
	TableDiffers bool          `json:"decision_table_differs"`
	// Rebuilt says that values differ by which episodes are built: each side
	// has episodes of its own, joined where they begin with the same unit.
	Rebuilt bool `json:"episodes_rebuilt"`
	// Episodes counts those of both sides; it is Changed and those that keep
	// their mark.
	Episodes int `json:"episodes"`
	Changed  int `json:"changed"`
	// Moves counts the changed by mark; its sum is Changed.
	Moves []MarkMove `json:"moves"`
	// Changes lists the changed, in the order of Moves, then by name.
	Changes []MarkChange `json:"changes"`
	// OnlyOwn and OnlyOther are episodes that exist under one policy alone.
	OnlyOwn   []MarkedEpisode `json:"only_under_own"`
	OnlyOther []MarkedEpisode `json:"only_under_other"`
}

// ValueChange is a policy value that differs, each side in words; a value that
// changes on a date once for each date.
type ValueChange struct {
	Name string `json:"name"`
	// Builds says that episodes are built by it.
	Builds bool     `json:"builds_episodes"`
	Own    []string `json:"own"`
	Other  []string `json:"other"`
}

// MarkMove is how many episodes go from one mark to another.
type MarkMove struct {
	From     string `json:"from"`
	To       string `json:"to"`
	Episodes int    `json:"episodes"`
}

// MarkChange is one episode whose mark changes, with both reasons.
type MarkChange struct {
	Episode     string `json:"episode"`
	From        string `json:"from"`
	FromRow     int64  `json:"from_row"`
	FromBecause string `json:"from_because"`
	To          string `json:"to"`
	ToRow       int64  `json:"to_row"`
	ToBecause   string `json:"to_because"`
}

// MarkedEpisode is an episode with its mark.
type MarkedEpisode struct {
	Episode string `json:"episode"`
	Mark    string `json:"mark"`
	Because string `json:"because"`
}

// Compare judges the layer current of a store twice, by the site's own policy
// and by another, and tells what differs. It writes nothing, and does not read
// the layer audit: that may have been made by an older policy.
func Compare(ctx context.Context, st *store.Store, s *site.Site, own, other *policy.Policy) (*Comparison, error) {
	key, err := st.Key()
	if err != nil {
		return nil, err
	}
	c := &Comparison{Values: differing(own, other)}
	c.Rebuilt = slices.ContainsFunc(c.Values, func(v ValueChange) bool { return v.Builds })
	ownTable, err := own.Table()
	if err != nil {
		return nil, err
	}
	otherTable, err := other.Table()
	if err != nil {
		return nil, err
	}
	c.TableDiffers = !reflect.DeepEqual(ownTable.Rows(), otherTable.Rows())
	before, err := judged(ctx, st, s, own)
	if err != nil {
		return nil, fmt.Errorf("under the site's own policy: %w", err)
	}
	after, err := judged(ctx, st, s, other)
	if err != nil {
		return nil, fmt.Errorf("under the other policy: %w", err)
	}
	c.join(before, after, key)
	return c, nil
}

// verdict is a mark with the row that gave it.
type verdict struct {
	mark, because string
	row           int64
}

// judged marks the layer current by a policy and returns the verdicts by
// episode_id. It has an engine of its own, which is gone when it returns.
func judged(ctx context.Context, st *store.Store, s *site.Site, p *policy.Policy) (map[string]verdict, error) {
	present, err := presentFeeds(st)
	if err != nil {
		return nil, err
	}
	e, err := openEngine(ctx, s, engine.ThreadsBeside)
	if err != nil {
		return nil, err
	}
	defer e.Close()
	if err := CurrentViews(ctx, e, st); err != nil {
		return nil, err
	}
	given := Given{Policy: p, Present: present, ControlledStorage: s.ControlledStorage}
	if err := EpisodeTables(ctx, e, given); err != nil {
		return nil, err
	}
	_, rows, err := e.Rows(ctx, "marks to compare", "SELECT episode_id, mark, because, mark_row FROM episodes")
	if err != nil {
		return nil, err
	}
	all := make(map[string]verdict, len(rows))
	for _, row := range rows {
		all[row[0].(string)] = verdict{mark: row[1].(string), because: row[2].(string), row: row[3].(int64)}
	}
	return all, nil
}

// presentFeeds names the feeds that the layer current has readings of.
func presentFeeds(st *store.Store) (map[string]bool, error) {
	now, found := st.LayerFacts("current")
	if !found {
		return nil, fmt.Errorf("the store %s has no layer current yet: run thawline ingest first", st.Dir())
	}
	present := map[string]bool{}
	for _, t := range contract.Feeds() {
		_, present[t.Name] = now.Sums[t.Name+"_read"]
	}
	return present, nil
}

// join fills the episodes of a comparison. Names, not numbers, decide the order
// of a list: it tells nothing of who stands in it.
func (c *Comparison) join(before, after map[string]verdict, key []byte) {
	c.Moves, c.Changes, c.OnlyOwn, c.OnlyOther = []MarkMove{}, []MarkChange{}, []MarkedEpisode{}, []MarkedEpisode{}
	for id, b := range before {
		name := Pseudonym(key, EpisodeKind, id)
		a, both := after[id]
		if !both {
			c.OnlyOwn = append(c.OnlyOwn, MarkedEpisode{name, b.mark, b.because})
			continue
		}
		c.Episodes++
		if a.mark != b.mark {
			c.Changes = append(c.Changes, MarkChange{name, b.mark, b.row, b.because, a.mark, a.row, a.because})
		}
	}
	for id, a := range after {
		if _, both := before[id]; !both {
			c.OnlyOther = append(c.OnlyOther, MarkedEpisode{Pseudonym(key, EpisodeKind, id), a.mark, a.because})
		}
	}
	place := func(mark string) int { return slices.Index(contract.Marks, mark) }
	slices.SortFunc(c.Changes, func(a, b MarkChange) int {
		return cmp.Or(cmp.Compare(place(a.From), place(b.From)), cmp.Compare(place(a.To), place(b.To)), cmp.Compare(a.Episode, b.Episode))
	})
	for _, side := range [][]MarkedEpisode{c.OnlyOwn, c.OnlyOther} {
		slices.SortFunc(side, func(a, b MarkedEpisode) int {
			return cmp.Or(cmp.Compare(place(a.Mark), place(b.Mark)), cmp.Compare(a.Episode, b.Episode))
		})
	}
	c.Changed = len(c.Changes)
	for _, change := range c.Changes {
		last := len(c.Moves) - 1
		if last < 0 || c.Moves[last].From != change.From || c.Moves[last].To != change.To {
			c.Moves = append(c.Moves, MarkMove{From: change.From, To: change.To})
			last++
		}
		c.Moves[last].Episodes++
	}
}

// differing lists the values that two policies state differently, in the order
// of the policy file.
func differing(own, other *policy.Policy) []ValueChange {
	changes := []ValueChange{}
	texts := func(p *policy.Policy) (map[string][]string, []policy.Value) {
		all, values := map[string][]string{}, p.Values()
		for _, v := range values {
			text := v.Text
			if v.Unit != "" && v.Text != "none" {
				text += " " + v.Unit
			}
			if !v.From.IsZero() {
				text += " from " + v.From.Format("2006-01-02")
			}
			all[v.Name] = append(all[v.Name], text)
		}
		return all, values
	}
	ownTexts, values := texts(own)
	otherTexts, _ := texts(other)
	for _, v := range values {
		// A value with several dates stands there once for each.
		if !v.From.IsZero() || slices.Equal(ownTexts[v.Name], otherTexts[v.Name]) {
			continue
		}
		changes = append(changes, ValueChange{Name: v.Name, Builds: !v.Judges, Own: ownTexts[v.Name], Other: otherTexts[v.Name]})
	}
	return changes
}
