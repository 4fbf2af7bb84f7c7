package main

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"strings"

	"thawline/internal/audit"
	"thawline/internal/ingest"
	"thawline/internal/site"
	"thawline/internal/store"
)

// shortfalls says what the records in the store fall short of: product codes
// that were set aside, and the site's limit of rejected rows. It looks at the
// store, not at one run, so that a pack says the same whoever asks for it.
func shortfalls(hospital *site.Site, st *store.Store) *incompleteError {
	products := map[string]int64{}
	var read, rejected int64
	for _, r := range st.Readings() {
		read, rejected = read+r.Read, rejected+r.Rejected
		for code, count := range r.SetAsideCodes {
			if name, found := strings.CutPrefix(code, "product_code="); found {
				products[name] += count.Count
			}
		}
	}
	var all incompleteError
	for _, name := range byCount(products) {
		all.reasons = append(all.reasons, fmt.Sprintf("product code %q is in no product map: %d rows set aside; add it under products: in site.yaml, or plasma may be missing", short(name), products[name]))
	}
	if limit := hospital.Limits.RejectedShare; limit != nil && read > 0 && float64(rejected)/float64(read) > *limit {
		all.reasons = append(all.reasons, fmt.Sprintf("%d of %d rows rejected, over the site's rejected_share %g", rejected, read, *limit))
	}
	if all.reasons == nil {
		return nil
	}
	return &all
}

// undecided says whether too many episodes could not be judged, by the site's
// own limit.
func undecided(hospital *site.Site, st *store.Store) *incompleteError {
	summary, found := audit.LastSummary(st)
	limit := hospital.Limits.UndeterminedShare
	if !found || limit == nil || summary.Episodes == 0 {
		return nil
	}
	n := summary.Marks["undetermined"]
	if share := float64(n) / float64(summary.Episodes); share > *limit {
		return &incompleteError{[]string{fmt.Sprintf("%d of %d episodes undetermined, over the site's undetermined_share %g; the pack's second section says what is missing", n, summary.Episodes, *limit)}}
	}
	return nil
}

// joined makes one error of several shortfalls, nil of none.
func joined(errs ...*incompleteError) error {
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

// reasons are the sentences of a shortfall, for the pack that is provisional
// because of it.
func reasons(err error) []string {
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
	fresh := map[string]bool{}
	faults := false
	for _, f := range report.Files {
		if f.Unchanged {
			unchanged++
			continue
		}
		fresh[f.File] = true
		faults = true
		s.say("%s: %d rows read = %d accepted + %d rejected + %d set aside", f.File, f.Read, f.Accepted, f.Rejected, f.SetAside)
	}
	if unchanged > 0 {
		s.say("%d files unchanged", unchanged)
	}
	for _, note := range report.Notes {
		s.say("note: %s", note)
	}
	if faults {
		if err := sayProblems(ctx, s, hospital, st, fresh); err != nil {
			return err
		}
	}
	aside, unmapped := map[string]int64{}, map[string]int64{}
	units := map[string]string{}
	for _, f := range report.Files {
		for code, count := range f.SetAsideCodes {
			aside[code] += count.Count
			if units[code] == "" {
				units[code] = count.ExampleUnit
			}
		}
		for code, n := range f.Unmapped {
			unmapped[code] += n
		}
	}
	sayCodes(s, "codes in no map, their rows set aside", aside, units)
	sayCodes(s, "codes in no map, their cells left empty", unmapped, nil)
	return nil
}

// shownCodes and shownProblems keep a first run over a large laboratory export
// to a screen: the commonest come first, and the rest is counted.
const (
	shownCodes    = 20
	shownProblems = 15
)

func sayCodes(s *streams, title string, counts map[string]int64, units map[string]string) {
	if len(counts) == 0 {
		return
	}
	names := byCount(counts)
	var parts []string
	for _, name := range names[:min(shownCodes, len(names))] {
		part := fmt.Sprintf("%s (%d)", short(name), counts[name])
		if unit := units[name]; unit != "" {
			part = fmt.Sprintf("%s (%d, in %s)", short(name), counts[name], short(unit))
		}
		parts = append(parts, part)
	}
	if more := len(names) - len(parts); more > 0 {
		parts = append(parts, fmt.Sprintf("and %d more (--json lists all)", more))
	}
	s.say("%s: %s", title, strings.Join(parts, ", "))
}

// sayProblems groups the problems of the files just read by what is wrong, with
// the first place of each. It shows no value of a row.
func sayProblems(ctx context.Context, s *streams, hospital *site.Site, st *store.Store, fresh map[string]bool) error {
	e, err := audit.OpenReader(ctx, st, hospital)
	if err != nil {
		return err
	}
	defer e.Close()
	_, rows, err := e.Rows(ctx, "problems", `
SELECT problems.source_file, problems.severity, problems."column", problems.reason, count(*), min(problems.source_row)
FROM problems
GROUP BY ALL
ORDER BY problems.source_file, problems.severity, problems."column", problems.reason`)
	if err != nil {
		return err
	}
	type kind struct{ severity, column, reason string }
	type group struct {
		n     int64
		first string
	}
	groups := map[kind]*group{}
	var kinds []kind
	for _, row := range rows {
		file := row[0].(string)
		if !fresh[file] {
			continue
		}
		k := kind{row[1].(string), row[2].(string), row[3].(string)}
		if groups[k] == nil {
			groups[k] = &group{first: fmt.Sprintf("%s row %d", file, row[5])}
			kinds = append(kinds, k)
		}
		groups[k].n += row[4].(int64)
	}
	rank := map[string]int{"rejected": 0, "dropped": 1, "suspect": 2, "noted": 3}
	sort.SliceStable(kinds, func(i, j int) bool {
		if a, b := rank[kinds[i].severity], rank[kinds[j].severity]; a != b {
			return a < b
		}
		return groups[kinds[i]].n > groups[kinds[j]].n
	})
	for _, k := range kinds[:min(shownProblems, len(kinds))] {
		s.say("%s %d: %s: %s; first %s", k.severity, groups[k].n, k.column, k.reason, groups[k].first)
	}
	if more := len(kinds) - shownProblems; more > 0 {
		s.say("and %d more kinds of problem: thawline query \"SELECT * FROM problems\" shows all, with what was written", more)
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

// short keeps a code to a length that fits a line, without control characters:
// a wrongly mapped column may hold anything.
func short(text string) string {
	const longest = 40
	var kept []rune
	for _, r := range text {
		if r < ' ' || r == 0x7f {
			r = ' '
		}
		if kept = append(kept, r); len(kept) > longest {
			return string(kept[:longest]) + "…"
		}
	}
	return string(kept)
}
