package main

import (
	"context"
	"errors"
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

// Run reads everything that a site writes by hand and says every fault of every
// file, with its place. It writes nothing, and reads a store only for the numbers of
// episodes that reviewers name.
func (c *checkCommand) Run(ctx context.Context, s *streams) error {
	var faults []error
	fault := func(err error) bool {
		if err != nil {
			faults = append(faults, err)
		}
		return err != nil
	}
	notes := func(all []string) {
		for _, note := range all {
			s.say("note: %s", note)
		}
	}
	hospital, err := site.Load(c.Site)
	read := !fault(err)
	if read {
		s.say("%s: %s, %s", c.Site, several(len(hospital.Feeds), "feed"), several(len(hospital.Products), "product code"))
	} else {
		// The other files lie beside it under their usual names.
		hospital = &site.Site{Path: c.Site, Dir: filepath.Dir(c.Site), Zone: time.UTC}
		if path := filepath.Join(hospital.Dir, "policy.yaml"); exists(path) {
			hospital.Policy = path
		}
	}
	p, err := policy.Load(hospital.Policy)
	if !fault(err) {
		stated := 0
		for _, v := range p.Values() {
			if !v.Default {
				stated++
			}
		}
		s.say("policy: %d values, %d of them the site's own, %s", len(p.Values()), stated, several(len(p.Periods()), "period"))
		table, err := p.Table()
		if err != nil {
			fault(usageError{fmt.Errorf("decision table: %w", err)})
		} else {
			s.say("decision table: %d rows, every combination has one, every row can be reached", len(table.Rows()))
		}
	}
	panels := true
	if read && p != nil {
		if rules, err := audit.LocalRules(ctx, hospital, p); !fault(err) {
			s.say("rules of the site's own: %d, no fault", len(rules))
		}
		own, more, err := pack.CheckPanels(ctx, hospital, p)
		if panels = !fault(err); panels {
			s.say("panels of the site's own: %d, no fault", own)
			notes(more)
		}
	}
	for _, file := range pack.UnusedPanels(hospital) {
		s.say("note: %s is not read: figures and panels.yaml of a site's own stand in the folder panels beside site.yaml", file)
	}
	today := time.Now().In(hospital.Zone).Format(time.DateOnly)
	if panels {
		n, more, err := pack.CheckDecisions(hospital, today)
		if !fault(err) {
			s.say("decisions: %d", n)
			notes(more)
		}
	} else {
		s.say("decisions: not read, for they may aim at panels that have a fault")
	}
	if reviews, err := hospital.LoadReviews(); !fault(err) {
		s.say("reviewers' words: %d", len(reviews))
		fault(reviewed(ctx, s, hospital, reviews, today))
	}
	return errors.Join(faults...)
}

// reviewed notes words of days to come, and looks whether the store has the episodes
// that reviewers name, where there is a store.
func reviewed(ctx context.Context, s *streams, hospital *site.Site, reviews []site.Review, today string) error {
	later := 0
	for _, r := range reviews {
		if r.Date.Format(time.DateOnly) > today {
			later++
		}
	}
	if later > 0 {
		s.say("note: %d of them are dated after today: no pack before that day counts them", later)
	}
	if len(reviews) == 0 || hospital.Store == "" || !exists(filepath.Join(hospital.Store, "manifest.json")) {
		return nil
	}
	st, err := store.Open(hospital.Store, false)
	if err != nil {
		return err
	}
	defer st.Close()
	return pack.CheckReviews(ctx, st, hospital, reviews)
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}
