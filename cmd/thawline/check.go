package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"thawline/internal/audit"
	"thawline/internal/pack"
	"thawline/internal/policy"
	"thawline/internal/site"
)

type checkCommand struct {
	where
}

// Run reads everything that a site writes by hand and says every fault of every
// file, with its place. It touches no store.
func (c *checkCommand) Run(ctx context.Context, s *streams) error {
	var faults []error
	fault := func(err error) bool {
		if err != nil {
			faults = append(faults, err)
		}
		return err != nil
	}
	hospital, err := site.Load(c.Site)
	rules := !fault(err)
	if rules {
		s.say("%s: %d feeds, %d product codes", c.Site, len(hospital.Feeds), len(hospital.Products))
	} else {
		// The other files lie beside it under their usual names.
		hospital = &site.Site{Path: c.Site, Dir: filepath.Dir(c.Site)}
		if path := filepath.Join(hospital.Dir, "policy.yaml"); exists(path) {
			hospital.Policy = path
		}
	}
	p, err := policy.Load(hospital.Policy)
	if !fault(err) {
		own := 0
		for _, v := range p.Values() {
			if !v.Default {
				own++
			}
		}
		s.say("policy: %d values, %d of them the site's own, %d periods", len(p.Values()), own, len(p.Periods()))
		table, err := p.Table()
		if err != nil {
			fault(usageError{fmt.Errorf("decision table: %w", err)})
		} else {
			s.say("decision table: %d rows, every combination has one, every row can be reached", len(table.Rows()))
		}
		if rules {
			if own, err := audit.LocalRules(ctx, hospital, p); !fault(err) {
				s.say("rules of the site's own: %d, no fault", len(own))
			}
		}
	}
	figures, err := pack.CheckPanels(hospital)
	switch unused := pack.UnusedPanels(hospital); {
	case err != nil:
		fault(usageError{err})
	case len(unused) > 0:
		for _, one := range unused {
			s.say("NOT USED: %s: %s", one.File, whyUnused[one.Why])
		}
	default:
		s.say("dashboard and panels: %d panels of the site's own, no fault", figures)
	}
	if err == nil {
		if n, err := pack.CheckDecisions(hospital); !fault(err) {
			s.say("decisions: %d", n)
		}
	} else {
		s.say("decisions: not read, for they may aim at panels that have a fault")
	}
	if reviews, err := hospital.LoadReviews(); !fault(err) {
		s.say("reviewers' words: %d", len(reviews))
	}
	return errors.Join(faults...)
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// whyUnused says why a pack does not show a figure or a dashboard of a site's own.
var whyUnused = map[int]string{
	pack.OtherFolder: "figures and panels.yaml of a site's own are read from the folder panels beside site.yaml alone",
	pack.OtherName:   "of the folder panels, panels.yaml alone is read",
	pack.NoPanels:    "there is no panels/panels.yaml, which names the figures that a pack shows",
	pack.NotNamed:    "panels.yaml names no such figure",
}
