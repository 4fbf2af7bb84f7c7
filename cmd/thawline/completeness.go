package main

import (
	"context"
	"errors"
	"maps"
	"slices"
	"sort"
	"strconv"
	"strings"

	"thawline/internal/audit"
	"thawline/internal/contract"
	"thawline/internal/ingest"
	"thawline/internal/pack"
	"thawline/internal/site"
	"thawline/internal/status"
	"thawline/internal/store"
)

// shortfalls says what the records in the store fall short of: product codes
// that were set aside, and the site's limit of rejected rows. It looks at the
// store, not at one run, so that a pack says the same whoever asks for it.
func shortfalls(hospital *site.Site, st *store.Store) *incompleteError {
	guard := status.NewGuard(hospital, st.Readings())
	products, hidden, since := map[string]int64{}, map[string]int64{}, map[string][]string{}
	var read, rejected, hiddenRows int64
	for _, r := range st.Readings() {
		read, rejected = read+r.Read, rejected+r.Rejected
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
		all.reasons = append(all.reasons, pack.Reason{Key: "lacks_rows", Args: []any{rejected, read, *limit}})
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
		return &incompleteError{[]pack.Reason{{Key: "lacks_marks", Args: []any{int64(n), int64(summary.Episodes), *limit}}}}
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
