package main

import (
	"context"
	"fmt"

	"thawline/internal/audit"
	"thawline/internal/pack"
	"thawline/internal/policy"
	"thawline/internal/site"
)

type checkCommand struct {
	where
}

// Run reads everything that a site writes by hand and says every fault with its
// place. It touches no store.
func (c *checkCommand) Run(ctx context.Context, s *streams) error {
	hospital, err := site.Load(c.Site)
	if err != nil {
		return err
	}
	s.say("%s: %d feeds, %d product codes", c.Site, len(hospital.Feeds), len(hospital.Products))
	p, err := policy.Load(hospital.Policy)
	if err != nil {
		return err
	}
	stated := 0
	for _, v := range p.Values() {
		if !v.Default {
			stated++
		}
	}
	s.say("policy: %d values, %d of them the site's own, %d periods", len(p.Values()), stated, len(p.Periods()))
	table, err := p.Table()
	if err != nil {
		return usageError{fmt.Errorf("decision table: %w", err)}
	}
	s.say("decision table: %d rows, every combination has one, every row can be reached", len(table.Rows()))
	rules, err := audit.LocalRules(ctx, hospital, p)
	if err != nil {
		return err
	}
	s.say("rules of the site's own: %d, no fault", len(rules))
	own, notes, err := pack.CheckPanels(ctx, hospital, p)
	if err != nil {
		return err
	}
	s.say("panels of the site's own: %d, no fault", own)
	for _, note := range notes {
		s.say("note: %s", note)
	}
	n, err := pack.CheckDecisions(hospital)
	if err != nil {
		return err
	}
	s.say("decisions: %d", n)
	reviews, err := hospital.LoadReviews()
	if err != nil {
		return err
	}
	s.say("reviewers' words: %d", len(reviews))
	return nil
}
