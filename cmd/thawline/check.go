package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"thawline/internal/audit"
	"thawline/internal/pack"
	"thawline/internal/policy"
	"thawline/internal/site"
	"thawline/internal/store"
)

// several is a number with its noun.
func several(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

type checkCommand struct {
	where
}

// exists says that a store was begun in the folder.
func exists(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, "manifest.json"))
	return err == nil
}

// Run reads everything that a site writes by hand and says every fault with its
// place. It writes nothing, and reads a store only for the numbers of episodes that
// reviewers name.
func (c *checkCommand) Run(ctx context.Context, s *streams) error {
	hospital, err := site.Load(c.Site)
	if err != nil {
		return err
	}
	s.say("%s: %s, %s", c.Site, several(len(hospital.Feeds), "feed"), several(len(hospital.Products), "product code"))
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
	s.say("policy: %d values, %d of them the site's own, %s", len(p.Values()), stated, several(len(p.Periods()), "period"))
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
	today := time.Now().In(hospital.Zone).Format(time.DateOnly)
	n, notes, err := pack.CheckDecisions(hospital, today)
	if err != nil {
		return err
	}
	s.say("decisions: %d", n)
	for _, note := range notes {
		s.say("note: %s", note)
	}
	reviews, err := hospital.LoadReviews()
	if err != nil {
		return err
	}
	s.say("reviewers' words: %d", len(reviews))
	later := 0
	for _, r := range reviews {
		if r.Date.Format(time.DateOnly) > today {
			later++
		}
	}
	if later > 0 {
		s.say("note: %d of them are dated after today: no pack before that day counts them", later)
	}
	if len(reviews) > 0 && exists(hospital.Store) {
		st, err := store.Open(hospital.Store, false)
		if err != nil {
			return err
		}
		defer st.Close()
		return pack.CheckReviews(ctx, st, hospital, reviews)
	}
	return nil
}
