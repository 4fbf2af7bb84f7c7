package main

import (
	"cmp"
	"slices"
	"strings"
	"testing"
	"time"
)

// row is a row of an audit table by column name; null is empty.
type row = map[string]string

// rows are the audit tables of the demo, as any reader of Parquet has them.
type rows struct {
	episodes, bags, units, evidence, findings, rules, others, patients []row
	// issued counts plasma issues by the hospital's own month.
	issued map[string]int
	// months are those that charts show, the last one the period's.
	months []string
}

// notRecomputed lists the figures that no code here recomputes yet.
var notRecomputed = map[string]bool{
	"restated": true, "feeds_by_month": true, "reviews": true, "plasma_per_red_cells": true, "plasma_per_admissions": true, "use_by_place": true,
	"other_products": true, "appropriate_by_month-2": true, "findings": true, "below_band_by_month-2": true,
	"effect": true, "effect-2": true, "activations": true, "activation_to_plasma": true, "plasma_to_red_cells": true, "activation_units": true,
	"exchanges": true, "times_by_step": true, "times_by_month": true, "safety_findings": true, "safety_gaps": true,
}

func readRows(t *testing.T) *rows {
	t.Helper()
	site := demoSite(t)
	d := &rows{issued: map[string]int{}}
	for name, into := range map[string]*[]row{"episodes": &d.episodes, "bags": &d.bags, "units": &d.units, "evidence": &d.evidence, "findings": &d.findings, "rules_run": &d.rules, "other_marks": &d.others, "patients": &d.patients} {
		*into = table(t, site, "SELECT * FROM "+name)
		if len(*into) == 0 {
			t.Fatalf("the demo has no rows of %s", name)
		}
	}
	for _, r := range table(t, site, "SELECT strftime(issued_local, '%Y-%m') AS month FROM issues WHERE component = 'plasma' AND issued_at IS NOT NULL") {
		d.issued[r["month"]]++
	}
	last, err := time.Parse("2006-01", demoMonth)
	if err != nil {
		t.Fatal(err)
	}
	for back := 23; back >= 0; back-- {
		d.months = append(d.months, last.AddDate(0, -back, 0).Format("2006-01"))
	}
	return d
}

func is(r row, column string, values ...string) bool { return slices.Contains(values, r[column]) }

func count(all []row, of ...func(row) bool) int { return len(pick(all, of...)) }

func pick(all []row, of ...func(row) bool) []row {
	var some []row
	for _, r := range all {
		ok := true
		for _, one := range of {
			ok = ok && one(r)
		}
		if ok {
			some = append(some, r)
		}
	}
	return some
}

func isIn(column string, values ...string) func(row) bool {
	return func(r row) bool { return is(r, column, values...) }
}

func hasAny(columns ...string) func(row) bool {
	return func(r row) bool {
		return slices.ContainsFunc(columns, func(c string) bool { return r[c] != "" })
	}
}

func not(f func(row) bool) func(row) bool { return func(r row) bool { return !f(r) } }

// The words that the figures' questions turn on.
var (
	isJudged = isIn("mark", "appropriate", "under-dosed", "non-bleeding", "unsupported")
	isGood   = isIn("mark", "appropriate")
	isOpen   = isIn("mark", "undetermined")
	isGiven  = isIn("outcome", "transfused")
	byDose   = not(isIn("basis", "plasma_exchange", "circuit_prime", "major_haemorrhage"))
	banded   = isIn("dose_band", "below", "within", "above")
	below    = isIn("dose_band", "below")
	after    = hasAny("inr_after_at", "pt_ratio_after_at", "aptt_ratio_after_at")
	bagGiven = isIn("fate", "transfused", "presumed")
	bagLost  = isIn("fate", "discarded")
	frozen   = isIn("frozen_loss", "true")
)

func inMonth(month string) func(row) bool { return isIn("month", month) }

// inYear is the twelve months to the period's end.
func (d *rows) inYear(r row) bool { return r["month"] >= d.months[12] && r["month"] <= demoMonth }

func monthName(month string) string {
	t, err := time.Parse("2006-01", month)
	if err != nil {
		return month
	}
	return t.Format("Jan 2006")
}

const spanName = "the twelve months to Oct 2026"

// unitsOf is how many units of an episode were given; the demo counts presumed ones.
func unitsOf(e row) int { return int(float(e["units_transfused"]) + float(e["units_presumed"])) }

// share puts n, of, share and interval into what a sentence says.
func share(n, of int, more map[string]any) map[string]any {
	says := map[string]any{"n": persons(n), "of": persons(of), "share": part{n, of}, "interval": interval{n, of}, "period": monthName(demoMonth), "span": spanName}
	for name, v := range more {
		says[name] = v
	}
	return says
}

func bagShare(n, of int, more map[string]any) map[string]any {
	says := map[string]any{"n": bags(n), "of": bags(of), "share": bagPart{n, of}, "interval": bagInterval{n, of}, "period": monthName(demoMonth), "span": spanName}
	for name, v := range more {
		says[name] = v
	}
	return says
}

// byMonth makes a row for each month shown.
func (d *rows) byMonth(cells func(month string) []any) [][]any {
	var all [][]any
	for _, m := range d.months {
		all = append(all, append([]any{monthName(m)}, cells(m)...))
	}
	return all
}

// ranked counts rows by words, the commonest first, then by the words.
func ranked(all []row, words func(row) []string) [][]any {
	counts := map[string]int{}
	for _, r := range all {
		counts[strings.Join(words(r), "\x00")]++
	}
	var keys []string
	for k := range counts {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b string) int { return cmp.Or(counts[b]-counts[a], cmp.Compare(a, b)) })
	var out [][]any
	for _, k := range keys {
		var cells []any
		for _, word := range strings.Split(k, "\x00") {
			cells = append(cells, word)
		}
		out = append(out, append(cells, persons(counts[k])))
	}
	return out
}

var everyMark = []string{"appropriate", "under-dosed", "non-bleeding", "unsupported", "undetermined", "set-apart", "wasted", "returned"}
var markHeads = []string{"Appropriate", "Under-dosed", "Non-bleeding", "Unsupported", "Undetermined", "Set apart", "Wasted", "Returned"}

func markCells(all []row) []any {
	var cells []any
	for _, mark := range everyMark {
		cells = append(cells, persons(count(all, isIn("mark", mark))))
	}
	return cells
}
