package main

import (
	"context"
	"fmt"
	"regexp"
	"runtime/debug"
	"strconv"
	"time"

	"thawline/internal/audit"
	"thawline/internal/pack"
	"thawline/internal/policy"
	"thawline/internal/site"
	"thawline/internal/store"
)

// span is the part of a verb that says which months a pack speaks of.
type span struct {
	Period string `placeholder:"PERIOD" help:"2026-10, 2026-Q3, 2026 or 2026-01..2026-06; without it the last whole month of the records."`
	Today  string `placeholder:"DATE" help:"The report date that the pack shows, YYYY-MM-DD; the clock enters in no other way."`
}

type reportCommand struct {
	where
	span
	Out  string `type:"path" placeholder:"DIR" help:"Write a copy of the pack there; the store's own pack stays as it is, and the next pack does not compare with the copy."`
	JSON bool   `name:"json" help:"The paths of the pack as JSON."`
}

// Run draws the pack for a period.
func (c *reportCommand) Run(ctx context.Context, s *streams) error {
	defer sweptSeldom()()
	// What a pack is drawn with makes itself ready while the store is opened.
	var ready *pack.Ready
	var fault error
	hospital, p, st, err := c.openBy(store.Open, true, func(hospital *site.Site) { ready, fault = pack.Prepare(ctx, hospital.Zone) })
	if ready != nil {
		defer ready.Close()
	}
	if err != nil {
		return err
	}
	defer st.Close()
	if fault != nil {
		return fault
	}
	return draw(ctx, s, hospital, p, st, ready, c.span, c.Out, c.JSON)
}

// sweptSeldom has garbage collected seldom until the function that it returns is
// called: drawings make much of little size, and a third of the time is saved.
func sweptSeldom() func() {
	before := debug.SetGCPercent(400)
	return func() { debug.SetGCPercent(before) }
}

type auditCommand struct {
	where
	span
	JSON bool `name:"json" help:"The paths of the pack as JSON."`
}

// Run shows the whole way in one function: a line a step.
func (c *auditCommand) Run(ctx context.Context, s *streams) error {
	hospital, p, st, err := c.open(true)
	if err != nil {
		return err
	}
	defer st.Close()
	if _, err := readIn(ctx, s, hospital, st); err != nil {
		return err
	}
	if _, err := markAll(ctx, s, hospital, p, st); err != nil {
		return err
	}
	defer sweptSeldom()()
	ready, err := pack.Prepare(ctx, hospital.Zone)
	if err != nil {
		return err
	}
	defer ready.Close()
	return draw(ctx, s, hospital, p, st, ready, c.span, "", c.JSON)
}

// draw makes the pack and says where it is. A pack of records that fall short of
// the site's limits says that it is provisional, and so does the exit code.
func draw(ctx context.Context, s *streams, hospital *site.Site, p *policy.Policy, st *store.Store, ready *pack.Ready, when span, out string, asJSON bool) error {
	from, to, err := months(when.Period)
	if err != nil {
		return usageError{err}
	}
	if from == "" {
		if to, err = audit.LastWholeMonth(ctx, st, hospital); err != nil {
			return err
		}
		from = to
	}
	today := when.Today
	if today == "" {
		today = time.Now().In(hospital.Zone).Format("2006-01-02")
	} else if _, err := time.Parse("2006-01-02", today); err != nil {
		return usageError{fmt.Errorf("--today %q is not a date like 2026-11-25", today)}
	}
	lacks := joined(shortfalls(hospital, st), undecided(hospital, st))
	behind, err := audit.LayersBehind(ctx, st, hospital, p)
	if err != nil {
		return err
	}
	if sayOtherMaps(s, hospital, st) {
		behind.Current = true // The pack says so; here it is said.
	}
	switch {
	case behind.Current:
		s.say("the records are behind the exports that were read, or behind the maps of site.yaml: the pack shows them as they were; run thawline audit, which does all steps")
	case behind.Audit:
		s.say("the marks are behind the records or the policy: the pack shows them as they were made; run thawline mark and report again")
	}
	matched, err := audit.MatchedPatients(ctx, st, false)
	if err != nil {
		return err
	}
	options := pack.Options{From: from, To: to, Version: version, Today: today, OutDir: out, Provisional: reasons(lacks), Behind: behind}
	for _, m := range matched {
		if m.None() {
			options.Unmatched = append(options.Unmatched, m.Table)
		}
	}
	paths, err := pack.Build(ctx, ready, st, hospital, p, options)
	if err != nil {
		return err
	}
	if asJSON {
		if err := s.json(paths); err != nil {
			return err
		}
		return lacks
	}
	fmt.Fprintln(s.out, paths.Committee)
	s.say("for reviewers alone: %s", paths.Cases)
	return lacks
}

var (
	monthForm   = regexp.MustCompile(`^\d{4}-(0[1-9]|1[0-2])$`)
	quarterForm = regexp.MustCompile(`^(\d{4})-Q([1-4])$`)
	yearForm    = regexp.MustCompile(`^\d{4}$`)
	spanForm    = regexp.MustCompile(`^(\d{4}-\d{2})\.\.(\d{4}-\d{2})$`)
)

// months reads a period into its first and last month, YYYY-MM. An empty
// period gives empty months.
func months(period string) (from, to string, err error) {
	switch {
	case period == "":
		return "", "", nil
	case monthForm.MatchString(period):
		return period, period, nil
	case yearForm.MatchString(period):
		return period + "-01", period + "-12", nil
	}
	if m := quarterForm.FindStringSubmatch(period); m != nil {
		q, _ := strconv.Atoi(m[2])
		return fmt.Sprintf("%s-%02d", m[1], q*3-2), fmt.Sprintf("%s-%02d", m[1], q*3), nil
	}
	if m := spanForm.FindStringSubmatch(period); m != nil && monthForm.MatchString(m[1]) && monthForm.MatchString(m[2]) && m[1] <= m[2] {
		return m[1], m[2], nil
	}
	return "", "", fmt.Errorf("--period %q is not a month (2026-10), quarter (2026-Q3), year (2026) or span (2026-01..2026-06)", period)
}
