package main

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"thawline/internal/audit"
	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/ingest"
	"thawline/internal/pack"
	"thawline/internal/site"
	"thawline/internal/status"
	"thawline/internal/store"
)

// shortfalls says what the records fall short of: product codes that were set aside,
// in the whole store, and the site's limit of rejected rows, in some readings: those
// that tell of a period, or where it is empty those of a run. It looks at the store, not
// at one run, so that a pack says the same whoever asks for it.
func shortfalls(hospital *site.Site, st *store.Store, some []store.Reading, of string) *incompleteError {
	guard := status.NewGuard(hospital, st.Readings())
	products, hidden, since := map[string]int64{}, map[string]int64{}, map[string][]string{}
	var read, rejected, hiddenRows int64
	for _, r := range st.Readings() {
		for code, count := range r.SetAsideCodes {
			name, found := strings.CutPrefix(code, "product_code=")
			if !found {
				continue
			}
			if guard.MappedSince(r.Table, status.SetAside, "product_code", name) {
				since[name] = append(since[name], r.File)
				continue
			}
			if text, ok := guard.Shown(r.Table, status.SetAside, "product_code", name); ok {
				products[text] += count.Count
			} else {
				hidden[name] += count.Count
				hiddenRows += count.Count
			}
		}
	}
	for _, r := range some {
		read, rejected = read+r.Read, rejected+r.Rejected
	}
	var all incompleteError
	for _, name := range byCount(products) {
		all.reasons = append(all.reasons, pack.Reason{Key: "lacks_product", Args: []any{strconv.Quote(name), products[name]}})
	}
	for _, name := range slices.Sorted(maps.Keys(since)) {
		files := strings.Join(since[name][:min(3, len(since[name]))], ", ")
		if len(since[name]) > 3 {
			files += ", …"
		}
		all.reasons = append(all.reasons, pack.Reason{Key: "lacks_mapped_product", Args: []any{strconv.Quote(name), files}})
	}
	if len(hidden) > 0 {
		all.reasons = append(all.reasons, pack.Reason{Key: "lacks_unnamed_product", Args: []any{int64(len(hidden)), hiddenRows}})
	}
	if limit := hospital.Limits.RejectedShare; limit != nil && read > 0 && float64(rejected)/float64(read) > *limit {
		one := pack.Reason{Key: "lacks_rows", Args: []any{rejected, read, of, *limit}}
		if of == "" {
			one = pack.Reason{Key: "lacks_rows_run", Args: []any{rejected, read, *limit}}
		}
		all.reasons = append(all.reasons, one)
	}
	if all.reasons == nil {
		return nil
	}
	return &all
}

// arrived are the readings that came in a run of ingest.
func arrived(st *store.Store, report ingest.Report) []store.Reading {
	came := map[[2]string]bool{}
	for _, f := range report.Files {
		if !f.Unchanged {
			came[[2]string{f.Table, f.File}] = true
		}
	}
	var some []store.Reading
	for _, r := range st.Readings() {
		if came[[2]string{r.Table, r.File}] {
			some = append(some, r)
		}
	}
	return some
}

// period is a span of months, YYYY-MM, both included.
type period struct{ from, to string }

func (p period) String() string {
	if p.from == p.to {
		return p.from
	}
	return p.from + ".." + p.to
}

// short says what the records of a period fall short of: the limits of the site are held
// against the months that a pack is of, for a bad month is lost among many good years.
func (p period) short(ctx context.Context, hospital *site.Site, st *store.Store) (*incompleteError, error) {
	if hospital.Limits.RejectedShare == nil && hospital.Limits.UndeterminedShare == nil {
		return shortfalls(hospital, st, nil, ""), nil
	}
	e, err := audit.OpenReader(ctx, st, hospital)
	if err != nil {
		return nil, err
	}
	defer e.Close()
	some, err := p.readings(ctx, e, hospital, st)
	if err != nil {
		return nil, err
	}
	few, err := p.undecided(ctx, e, hospital)
	if err != nil {
		return nil, err
	}
	return joined(shortfalls(hospital, st, some, p.String()), few), nil
}

// datedBy says which time of a table's rows places them in a month; the tables that bear
// none are placed by the dates of their files.
var datedBy = map[*contract.Table]string{
	contract.Issues: "coalesce(issued_at, thawed_at, discarded_at)", contract.Bedside: "started_at", contract.Labs: "collected_at", contract.Measures: "measured_at",
	contract.Events: "at", contract.Medicines: "given_at", contract.Activity: "CAST(month || '-15' AS TIMESTAMP)",
}

// readings are those that tell of the period: a row of theirs lies in it. One without
// any row in current, and those of tables without times, are placed by the date in
// the file's name, in the period or the month after it; where there is none they count.
func (p period) readings(ctx context.Context, e *engine.Engine, hospital *site.Site, st *store.Store) ([]store.Reading, error) {
	first, err := time.ParseInLocation("2006-01", p.from, hospital.Zone)
	if err != nil {
		return nil, err
	}
	last, err := time.ParseInLocation("2006-01", p.to, hospital.Zone)
	if err != nil {
		return nil, err
	}
	end := last.AddDate(0, 1, 0)
	// within says, by table and file, whether a row lies in the period.
	within := map[[2]string]bool{}
	for table, at := range datedBy {
		instant := func(t time.Time) string { return "TIMESTAMP " + engine.Quote(t.UTC().Format(time.DateTime)) }
		if table == contract.Activity { // Its month is the hospital's already.
			instant = func(t time.Time) string { return "TIMESTAMP " + engine.Quote(t.Format(time.DateTime)) }
		}
		_, rows, err := e.Rows(ctx, "files of "+table.Name, fmt.Sprintf("SELECT source_file, bool_or(coalesce(%[1]s >= %[2]s AND %[1]s < %[3]s, false)) FROM %[4]s GROUP BY source_file",
			at, instant(first), instant(end), engine.Name(table.Name)))
		if err != nil {
			return nil, err
		}
		for _, row := range rows {
			within[[2]string{table.Name, row[0].(string)}] = row[1].(bool)
		}
	}
	var some []store.Reading
	for _, r := range st.Readings() {
		tells, known := within[[2]string{r.Table, r.File}]
		if !known {
			tells = r.Date == "" || r.Date >= first.Format(time.DateOnly) && r.Date < end.AddDate(0, 1, 0).Format(time.DateOnly)
		}
		if tells {
			some = append(some, r)
		}
	}
	return some, nil
}

// undecided says whether too many episodes of the period could not be judged, by the
// site's own limit.
func (p period) undecided(ctx context.Context, e *engine.Engine, hospital *site.Site) (*incompleteError, error) {
	limit := hospital.Limits.UndeterminedShare
	if limit == nil {
		return nil, nil
	}
	_, rows, err := e.Rows(ctx, "undetermined episodes", "SELECT count(*) FILTER (mark = 'undetermined'), count(*) FROM episodes WHERE month BETWEEN "+engine.Quote(p.from)+" AND "+engine.Quote(p.to))
	if err != nil {
		return nil, err
	}
	n, of := rows[0][0].(int64), rows[0][1].(int64)
	if of == 0 || float64(n)/float64(of) <= *limit {
		return nil, nil
	}
	return &incompleteError{[]pack.Reason{{Key: "lacks_marks", Args: []any{n, of, p.String(), *limit}}}}, nil
}

// undecidedLately is undecided for the last month of the store with an issue.
func undecidedLately(ctx context.Context, hospital *site.Site, st *store.Store) (*incompleteError, error) {
	if hospital.Limits.UndeterminedShare == nil {
		return nil, nil
	}
	e, err := audit.OpenReader(ctx, st, hospital)
	if err != nil {
		return nil, err
	}
	defer e.Close()
	_, rows, err := e.Rows(ctx, "last month", "SELECT max(month) FROM episodes")
	if err != nil {
		return nil, err
	}
	month, found := rows[0][0].(string)
	if !found {
		return nil, nil
	}
	return period{month, month}.undecided(ctx, e, hospital)
}

// joined makes one error of several shortfalls, nil of none.
func joined(errs ...*incompleteError) *incompleteError {
	var all incompleteError
	for _, err := range errs {
		if err != nil {
			all.reasons = append(all.reasons, err.reasons...)
		}
	}
	if all.reasons == nil {
		return nil
	}
	return &all
}

// asError is a shortfall as an error, nil where there is none.
func (e *incompleteError) asError() error {
	if e == nil {
		return nil
	}
	return e
}

// reasons are what a shortfall says, for the pack that is provisional because of it.
func reasons(err error) []pack.Reason {
	var incomplete *incompleteError
	if errors.As(err, &incomplete) {
		return incomplete.reasons
	}
	return nil
}

// sayFiles prints the sums of each file that was read, why rows and cells were
// not taken, and the codes that no map knows.
func sayFiles(ctx context.Context, s *streams, hospital *site.Site, st *store.Store, report ingest.Report) error {
	unchanged := 0
	for _, f := range report.Files {
		if f.Unchanged {
			unchanged++
			continue
		}
		s.say("%s: %d rows read = %d accepted + %d rejected + %d set aside", f.File, f.Read, f.Accepted, f.Rejected, f.SetAside)
	}
	if unchanged > 0 {
		s.say("%d files unchanged", unchanged)
	}
	for _, note := range report.Notes {
		s.say("note: %s", note)
	}
	return sayProblems(ctx, s, hospital, st, report)
}

// shownProblems keeps a first run over a large laboratory export to a screen.
const shownProblems = 20

// sayProblems groups what is wrong with the files of this run, with the first
// place of each: why rows and cells of the fresh ones were not taken, and the
// codes of all of them that no map knows. It shows no value that points to a person.
func sayProblems(ctx context.Context, s *streams, hospital *site.Site, st *store.Store, report ingest.Report) error {
	var all, fresh []store.Reading
	for _, r := range st.Readings() {
		for _, f := range report.Files {
			if f.File == r.File && f.Table == r.Table {
				all = append(all, r)
				if !f.Unchanged {
					fresh = append(fresh, r)
				}
				break
			}
		}
	}
	guard := status.NewGuard(hospital, st.Readings())
	problems, err := status.Problems(ctx, guard, fresh, contract.Problems.Column("severity").Codes...)
	if err != nil {
		return err
	}
	codes, err := status.Problems(ctx, guard, all, status.SetAside, status.Unmapped)
	if err != nil {
		return err
	}
	for _, list := range [][]status.Problem{problems, codes} {
		for _, p := range list[:min(shownProblems, len(list))] {
			s.say("%s %d: %s.%s: %s; first %s", p.Severity, p.Rows, p.Table, p.Column, p.Reason, p.First[0])
		}
		if more := len(list) - shownProblems; more > 0 {
			s.say("and %d more kinds", more)
		}
	}
	if len(problems)+len(codes) > 0 {
		s.say("thawline problems shows all, with what to do about each")
	}
	return nil
}

// byCount sorts names by count, the largest first, then by name.
func byCount(counts map[string]int64) []string {
	names := make([]string, 0, len(counts))
	for name := range counts {
		names = append(names, name)
	}
	sort.Slice(names, func(i, j int) bool {
		if counts[names[i]] != counts[names[j]] {
			return counts[names[i]] > counts[names[j]]
		}
		return names[i] < names[j]
	})
	return names
}
