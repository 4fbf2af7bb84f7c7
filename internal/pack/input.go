// Package pack makes what a committee opens: committee.html, one self-contained
// page without any script, and cases.html, the episodes one by one for
// reviewers.
package pack

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"thawline/internal/audit"
	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/figure"
	"thawline/internal/policy"
	"thawline/internal/site"
	"thawline/queries"
)

// Source is one reading as the pack lists it.
type Source struct {
	Table, File, Date, SHA256          string
	Read, Accepted, Rejected, SetAside int64
	// Unmapped counts cells whose code has no place in the map.
	Unmapped int64
	// Map is the SHA-256 of the map by which it was read.
	Map string `json:",omitempty"`
}

// input is all that a pack is made from, without the store that it lies in.
type input struct {
	hospital, confidentiality string
	// currency is the sign or code put before a cost, or empty.
	currency                 string
	from, to, today, version string
	provisional              []string
	// behind says which layers of the store do not follow from what they are made of.
	behind audit.Behind
	// unmatched are the feeds that know no patient with plasma.
	unmatched []string
	format    figure.Format
	policy    *policy.Policy
	zone      *time.Location
	key       []byte
	sources   []Source
	// lacking names the feeds of which the store has no row, and what they leave unknown
	// (figure.Bleeding, figure.Band); load finds them.
	lacking map[string]bool
	// unread are the months shown of which no issue was read.
	unread        map[string]bool
	interventions []figure.Intervention
	// decided is what the site's file of decisions holds.
	decided []site.Decision
	// reviews is what its file of reviewers' words holds; allMarks are the files
	// in which packs of the store keep what they said.
	reviews  []site.Review
	allMarks []string
	// site is where the hospital's own files lie, for places in errors.
	site *site.Site
	// inputs are the SHA-256 of the files that the site keeps, by name.
	inputs map[string]string
	// panels are folders with a site's own figures.
	panels []sitePanels
	// last is the pack before this one, or nil.
	last *lastPack
	// judgedBy names the program's version and the decision table.
	judgedBy string
	// historyFrom is the first month that charts show; load finds it.
	historyFrom string
	// recordsFrom is the first month of which the store has an episode or a bag; load
	// finds it.
	recordsFrom string
	// firstFull is the first month of which the store holds all.
	firstFull string
	// files lists the files of the layers audit and current, by table.
	files map[string][]string
	// rules are the rules that may have run; the program's own where nil.
	rules []*audit.Query
	// controlledStorage names locations that keep units at a controlled temperature.
	controlledStorage []string
}

// historyMonths is how far back charts by month reach.
const historyMonths = 24

// load gives the engine the tables that figures read: the audit tables, the
// feeds of the layer current, macros and the hospital's clock, policy, period,
// months (those that are drawn), all_months (those of the store up to the period's end),
// readings_summary, last_pack, last_marks, reviewed, site_storage,
// tried_values, and the tables of queries/5-shared.
func (in *input) load(ctx context.Context, e *engine.Engine) error {
	if err := loadClock(ctx, e, in.zone); err != nil {
		return err
	}
	if err := in.loadStore(ctx, e); err != nil {
		return err
	}
	return runShared(ctx, e)
}

// loadStore is load but for macros and clock, and for the tables that several figures
// read.
func (in *input) loadStore(ctx context.Context, e *engine.Engine) error {
	if err := in.loadTables(ctx, e); err != nil {
		return err
	}
	if err := in.findLacking(ctx, e); err != nil {
		return err
	}
	return in.loadPeriod(ctx, e)
}

// loadTables gives the engine the store's tables.
func (in *input) loadTables(ctx context.Context, e *engine.Engine) error {
	for _, t := range append(contract.Audit(), contract.Feeds()...) {
		if err := e.View(ctx, t.Name, t.Columns, in.files[t.Name], ""); err != nil {
			return err
		}
	}
	return nil
}

// findLacking finds the feeds that the site does not have.
func (in *input) findLacking(ctx context.Context, e *engine.Engine) error {
	in.lacking = map[string]bool{}
	for _, t := range contract.Feeds() {
		if slices.ContainsFunc(in.sources, func(s Source) bool { return s.Table == t.Name && s.Accepted > 0 }) {
			continue
		}
		_, rows, err := e.Rows(ctx, "rows of "+t.Name, "SELECT count(*) FROM "+engine.Name(t.Name))
		if err != nil {
			return err
		}
		if n, _ := rows[0][0].(int64); n == 0 {
			in.lacking[t.Name] = true
		}
	}
	in.lacking[figure.Bleeding] = in.lacking["events"] && !slices.ContainsFunc(in.policy.Periods(), func(p policy.Period) bool {
		told, _ := p.Values["bleeding_recorded_in"].(string)
		return slices.Contains(strings.Fields(told), "indication")
	})
	in.lacking[figure.Band] = in.lacking["measures"] && !slices.ContainsFunc(in.policy.Periods(), func(p policy.Period) bool { return p.Values["full_dose_units"] != nil })
	return nil
}

// absent says of each feed that the site does not have what is not known for that.
func (in *input) absent() (all []string) {
	for _, t := range contract.Feeds() {
		if t.Name != contract.Issues.Name && t.Name != contract.Aliases.Name && in.lacking[t.Name] {
			text := in.w("without_" + t.Name)
			switch {
			case t.Name == contract.Events.Name && in.lacking[figure.Bleeding]:
				if text = in.w("no_feed", text, in.w("without_bleeding")); !in.lacking[figure.Band] {
					text = in.w("no_feed", text, in.w("without_bleeding_share"))
				}
			case t.Name == contract.Measures.Name && in.lacking[figure.Band]:
				text = in.w("no_feed", text, in.w("without_band"))
			}
			all = append(all, text)
		}
	}
	return all
}

// loadPeriod makes the small tables that Go knows.
func (in *input) loadPeriod(ctx context.Context, e *engine.Engine) error {
	if err := e.Load(ctx, "policy", in.policy.Columns(), in.policy.Rows()); err != nil {
		return err
	}
	_, rows, err := e.Rows(ctx, "first month", `SELECT min(month) FROM (SELECT min(episodes.month) AS month FROM episodes UNION ALL SELECT min(bags.month) FROM bags)`)
	if err != nil {
		return err
	}
	first, err := addMonths(in.to, 1-historyMonths)
	if err != nil {
		return err
	}
	if known, ok := rows[0][0].(string); ok {
		if in.recordsFrom = known; known > first {
			first = known
		}
	}
	// A period before all records still has its own months.
	first = min(first, in.from)
	in.historyFrom = first
	if err := in.findFirstFull(ctx, e); err != nil {
		return err
	}
	all := first
	if in.recordsFrom != "" {
		all = min(first, in.recordsFrom)
	}
	for table, from := range map[string]string{"months": first, "all_months": all} {
		var months [][]any
		for m := from; m <= in.to; {
			months = append(months, []any{m})
			if m, err = addMonths(m, 1); err != nil {
				return err
			}
		}
		if err := e.Load(ctx, table, []contract.Column{{Name: "month", Kind: contract.Text}}, months); err != nil {
			return err
		}
	}
	period := []contract.Column{{Name: "from_month"}, {Name: "to_month"}, {Name: "year_from_month"}, {Name: "history_from_month"}}
	if err := e.Load(ctx, "period", period, [][]any{{in.from, in.to, in.yearFrom(), first}}); err != nil {
		return err
	}
	summary := []contract.Column{{Name: "table_name", Kind: contract.Text}, {Name: "file", Kind: contract.Text}, {Name: "rows_read", Kind: contract.Int},
		{Name: "accepted", Kind: contract.Int}, {Name: "rejected", Kind: contract.Int}, {Name: "set_aside", Kind: contract.Int}, {Name: "unmapped", Kind: contract.Int}}
	var told [][]any
	for _, s := range in.sources {
		told = append(told, []any{s.Table, s.File, s.Read, s.Accepted, s.Rejected, s.SetAside, s.Unmapped})
	}
	if err := e.Load(ctx, "readings_summary", summary, told); err != nil {
		return err
	}
	if err := in.loadLast(ctx, e); err != nil {
		return err
	}
	if err := in.loadReviews(ctx, e); err != nil {
		return err
	}
	var storage [][]any
	for _, location := range in.controlledStorage {
		storage = append(storage, []any{location})
	}
	if err := e.Load(ctx, "site_storage", []contract.Column{{Name: "location"}}, storage); err != nil {
		return err
	}
	if err := in.loadRules(ctx, e); err != nil {
		return err
	}
	return in.loadTried(ctx, e)
}

// loadRules makes the table rules: what each rule says, its severity, and whether it
// judges episodes or units.
func (in *input) loadRules(ctx context.Context, e *engine.Engine) error {
	all := in.rules
	if all == nil {
		own, err := audit.Rules()
		if err != nil {
			return err
		}
		all = own
	}
	var rows [][]any
	for _, r := range all {
		rows = append(rows, []any{r.Name, r.Header["severity"], in.said(strings.TrimSuffix(r.Says, "."), r.Local()), r.Header["of"]})
	}
	return e.Load(ctx, "rules", []contract.Column{{Name: "finding"}, {Name: "severity"}, {Name: "says"}, {Name: "of"}}, rows)
}

// runShared makes the tables that several figures read, and runs beside them what
// reads them.
func runShared(ctx context.Context, e *engine.Engine, steps ...audit.Step) error {
	all, err := shared()
	if err != nil {
		return err
	}
	views, err := sharedViews(ctx, e)
	if err != nil {
		return err
	}
	return audit.RunBeside(ctx, e, all, views, steps...)
}

// periodEpisodes is the table of which the page of cases is made.
const periodEpisodes = "period_episodes"

// shared lists the queries of the tables that several figures read; first come those
// that the page of cases, and the longest chain of the others, wait for.
func shared() ([]*audit.Query, error) {
	all, err := audit.LoadQueries(queries.FS, "5-shared")
	if err != nil {
		return nil, err
	}
	soon := []string{periodEpisodes}
	for _, q := range all {
		if q.Name == periodEpisodes {
			soon = append(soon, q.Reads()...)
		}
	}
	slices.SortStableFunc(all, func(a, b *audit.Query) int {
		first := func(q *audit.Query) bool { return slices.Contains(soon, q.Name) }
		switch {
		case first(a) == first(b):
			return 0
		case first(a):
			return -1
		}
		return 1
	})
	return all, nil
}

// sharedViews names those shared tables that only pick rows of another, and are
// not made: the period's episodes are picked from the year's, which are at hand.
// Of a wide file few rows are picked each time, since each figure reads a few
// columns, and a copy of all would cost more than it saves; where a good part of
// the rows is picked, reading the file again for each figure costs more than the
// copy.
func sharedViews(ctx context.Context, e *engine.Engine) ([]string, error) {
	_, rows, err := e.Rows(ctx, "rows picked", `
SELECT
    (SELECT count(*) FROM episodes),
    (SELECT count(*) FROM episodes, period WHERE episodes.month BETWEEN period.year_from_month AND period.to_month),
    (SELECT count(*) FROM bags),
    (SELECT count(*) FROM bags, period WHERE bags.month BETWEEN period.from_month AND period.to_month)`)
	if err != nil {
		return nil, err
	}
	n := func(i int) int64 { v, _ := rows[0][i].(int64); return v }
	views := []string{periodEpisodes}
	for _, one := range []struct {
		name        string
		picked, all int64
	}{{"year_episodes", n(1), n(0)}, {"period_bags", n(3), n(2)}} {
		if goodPart*one.picked < one.all {
			views = append(views, one.name)
		}
	}
	return views, nil
}

// goodPart of the rows is one in so many.
const goodPart = 4

// check refuses sums that do not add up.
func (in *input) check(ctx context.Context, e *engine.Engine) error {
	for _, s := range in.sources {
		if s.Read != s.Accepted+s.Rejected+s.SetAside {
			return fmt.Errorf("the sums of %s do not add up: %d rows read, but %d accepted + %d rejected + %d set aside; no pack is written: run ingest again, and report this", s.File, s.Read, s.Accepted, s.Rejected, s.SetAside)
		}
	}
	_, rows, err := e.Rows(ctx, "sums", `
SELECT
    (SELECT count(*) FROM episodes),
    (SELECT count(*) FROM episodes WHERE episodes.mark IN `+list(contract.Marks)+`),
    (SELECT count(*) FROM episodes WHERE episodes.units_issued <> episodes.units_transfused + episodes.units_presumed + episodes.units_returned + episodes.units_discarded + episodes.units_transferred + episodes.units_unknown),
    (SELECT coalesce(sum(episodes.units_issued), 0)::BIGINT FROM episodes),
    (SELECT count(*) FROM units WHERE units.episode_id IS NOT NULL),
    (SELECT count(DISTINCT episodes.episode_id) FROM episodes)`)
	if err != nil {
		return err
	}
	n := func(i int) int64 { v, _ := rows[0][i].(int64); return v }
	switch {
	case n(0) != n(1):
		return fmt.Errorf("%d episodes, but %d with a mark; no pack is written: run mark again, and report this", n(0), n(1))
	case n(2) != 0:
		return fmt.Errorf("in %d episodes the units by fate do not add up to the units issued; no pack is written: run mark again, and report this", n(2))
	case n(3) != n(4):
		return fmt.Errorf("%d units in episodes, but %d in the table of units; no pack is written: run mark again, and report this", n(3), n(4))
	case n(0) != n(5):
		return fmt.Errorf("%d episodes have %d names; no pack is written: run mark again, and report this", n(0), n(5))
	}
	return nil
}

func list(words []string) string {
	s := ""
	for i, w := range words {
		if i > 0 {
			s += ", "
		}
		s += engine.Quote(w)
	}
	return "(" + s + ")"
}

func addMonths(month string, n int) (string, error) {
	t, err := time.Parse("2006-01", month)
	if err != nil {
		return "", fmt.Errorf("%q is no month like 2026-10", month)
	}
	return t.AddDate(0, n, 0).Format("2006-01"), nil
}
