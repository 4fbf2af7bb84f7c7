package main

import (
	"context"
	"fmt"

	"thawline/internal/audit"
	"thawline/internal/contract"
	"thawline/internal/policy"
	"thawline/internal/site"
	"thawline/internal/store"
)

type markCommand struct {
	where
	Rebuild bool `help:"Make the layer audit anew, changed or not: where a file of it is damaged."`
	JSON    bool `name:"json" help:"The sums as JSON."`
}

// Run builds episodes from current and marks each.
func (c *markCommand) Run(ctx context.Context, s *streams) error {
	hospital, p, st, err := c.openWhole(c.Rebuild, "audit")
	if err != nil {
		return err
	}
	defer st.Close()
	sayOtherMaps(s, hospital, st)
	summary, err := markAll(ctx, s, hospital, p, st)
	if err != nil {
		return err
	}
	if c.JSON {
		if err := s.json(summary); err != nil {
			return err
		}
	}
	return joined(undecided(hospital, st))
}

// markAll marks the store and says the sums.
func markAll(ctx context.Context, s *streams, hospital *site.Site, p *policy.Policy, st *store.Store) (audit.Summary, error) {
	summary, err := audit.Mark(ctx, st, hospital, p)
	if err != nil {
		return summary, err
	}
	// By it explain finds an episode, before there is a pack that shows its number.
	if _, err := st.Key(); err != nil {
		return summary, err
	}
	s.say("%s", marks(summary))
	return summary, nil
}

// marks says how many episodes there are, and how many bear each mark.
func marks(summary audit.Summary) string {
	text := fmt.Sprintf("%d episodes", summary.Episodes)
	sign := " ="
	for _, mark := range contract.Marks {
		if n := summary.Marks[mark]; n > 0 {
			text += fmt.Sprintf("%s %d %s", sign, n, mark)
			sign = " +"
		}
	}
	return text
}
