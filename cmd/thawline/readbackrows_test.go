package main

import (
	"cmp"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// row is a row of an audit table by column name; null is empty.
type row = map[string]string

// rows are the audit and current tables of the demo, as any reader of Parquet has
// them, and what a pack says of them.
type rows struct {
	// small is the smallest count that the pack shows.
	small int
	// By the name of their table.
	episodes, bags, units, evidence, findings, rules, others, patients, said        []row
	issues, bedside, labs, measures, events, medicines, activity, problems, reviews []row
	// from is the period's first month; demoMonth its last.
	from string
	// months are those that charts show, the last one the period's.
	months []string
	zone   *time.Location
	figure map[string]wanted
	// feedsRead and filesRead are the rows of what was read, by their first cell.
	feedsRead, filesRead map[string][]string
	// policy are the values that judged, as the files state them.
	policy [][]string
}

// readRows reads the tables of a site's store.
func readRows(t *testing.T, site string) *rows {
	t.Helper()
	d := &rows{small: 5}
	var err error
	if d.zone, err = time.LoadLocation("Europe/Dublin"); err != nil {
		t.Fatal(err)
	}
	for _, one := range []struct {
		table, columns string
		into           *[]row
	}{
		{"episodes", "*", &d.episodes}, {"bags", "*", &d.bags}, {"units", "*", &d.units}, {"evidence", "*", &d.evidence}, {"findings", "*", &d.findings},
		{"rules_run", "*", &d.rules}, {"other_marks", "*", &d.others}, {"pack_marks", "*", &d.said}, {"patients", "*", &d.patients},
		{"issues", "*", &d.issues}, {"bedside", "started_at", &d.bedside}, {"labs", "collected_at, derived_from", &d.labs}, {"measures", "measured_at", &d.measures},
		{"events", "*", &d.events}, {"medicines", "*", &d.medicines}, {"activity", "*", &d.activity}, {"problems", "source_file, source_row, severity", &d.problems},
	} {
		if *one.into = table(t, site, "SELECT "+one.columns+" FROM "+one.table); len(*one.into) == 0 {
			t.Fatalf("the demo has no rows of %s", one.table)
		}
	}
	d.feedsRead, d.filesRead = d.sources(t, filepath.Join(filepath.Dir(site), "inbox"))
	d.policy = policyRows(t, site)
	d.from = demoMonth
	last, err := time.Parse("2006-01", demoMonth)
	if err != nil {
		t.Fatal(err)
	}
	for back := 23; back >= 0; back-- {
		d.months = append(d.months, last.AddDate(0, -back, 0).Format("2006-01"))
	}
	return d
}

// recomputed is what the pack's figures must say.
func (d *rows) recomputed() map[string]wanted {
	if d.figure == nil {
		d.figure = d.figures()
	}
	return d.figure
}

// instant is a time of a row; ok is false where it has none.
func instant(r row, column string) (at time.Time, ok bool) {
	at, err := time.Parse("2006-01-02 15:04:05", r[column])
	return at, err == nil
}

// onClock is a time of a row told to the minute: not as a date alone.
func onClock(r row, column string) (at time.Time, ok bool) {
	if slices.Contains(strings.Fields(r["date_only"]), column) {
		return time.Time{}, false
	}
	return instant(r, column)
}

// monthOf is the hospital's month of a row's time, empty where it has none.
func (d *rows) monthOf(r row, columns ...string) string {
	for _, column := range columns {
		if at, ok := instant(r, column); ok {
			return at.In(d.zone).Format("2006-01")
		}
	}
	return ""
}

// quartiles are the lower quartile, the median and the upper quartile, between
// neighbours in proportion (type 7 of Hyndman and Fan 1996, Am Stat 50:361).
func quartiles(values []float64) (low, median, high float64) {
	sorted := slices.Sorted(slices.Values(values))
	at := func(quarters int) float64 {
		if len(sorted) == 0 {
			return math.NaN()
		}
		place, rest := (len(sorted)-1)*quarters/4, (len(sorted)-1)*quarters%4
		if rest == 0 {
			return sorted[place]
		}
		return sorted[place] + (sorted[place+1]-sorted[place])*float64(rest)/4
	}
	return at(1), at(2), at(3)
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
func (d *rows) inYear(r row) bool { return d.isYear(r["month"]) }

// inPeriod says that a row is of the pack's period.
func (d *rows) inPeriod(r row) bool { return d.isNow(r["month"]) }

func (d *rows) isNow(month string) bool { return month >= d.from && month <= demoMonth }

// period is the period in words.
func (d *rows) period() string {
	if d.from == demoMonth {
		return monthName(demoMonth)
	}
	return monthName(d.from) + " to " + monthName(demoMonth)
}

func (d *rows) isYear(month string) bool { return month >= d.months[12] && month <= demoMonth }

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
func (d *rows) share(n, of int, more map[string]any) map[string]any {
	says := map[string]any{"n": persons(n), "of": persons(of), "share": part{n, of}, "interval": interval{n, of}, "period": d.period(), "span": spanName}
	for name, v := range more {
		says[name] = v
	}
	return says
}

func (d *rows) bagShare(n, of int, more map[string]any) map[string]any {
	says := map[string]any{"n": bags(n), "of": bags(of), "share": bagPart{n, of}, "interval": bagInterval{n, of}, "period": d.period(), "span": spanName}
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

// withoutBleeding says that a month has no row of bleeding, so that nobody could be
// marked non-bleeding in it.
func (d *rows) withoutBleeding(month string) bool {
	return !slices.ContainsFunc(d.events, func(r row) bool { return r["kind"] == "bleeding" && d.monthOf(r, "at") == month })
}

func markCells(all []row) []any {
	var cells []any
	for _, mark := range everyMark {
		cells = append(cells, persons(count(all, isIn("mark", mark))))
	}
	return cells
}

// fateCells counts units by what became of them, as several tables show it.
func fateCells(all []row) []any {
	var cells []any
	for _, fates := range [][]string{{"transfused"}, {"presumed"}, {"discarded"}, {"returned"}, {"transferred", "unknown"}} {
		cells = append(cells, bags(count(all, isIn("fate", fates...))))
	}
	return cells
}
