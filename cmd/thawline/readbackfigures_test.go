package main

import (
	"cmp"
	"fmt"
	"maps"
	"math"
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

// figures recomputes what the figures say.
func (d *rows) figures() map[string]wanted {
	now := pick(d.episodes, inMonth(demoMonth))
	year := pick(d.episodes, d.inYear)
	bagsNow := pick(d.bags, inMonth(demoMonth))
	want := map[string]wanted{}

	want["marks_by_month"] = wanted{
		heads: append([]string{"Month"}, markHeads...),
		rows:  d.byMonth(func(m string) []any { return markCells(pick(d.episodes, inMonth(m))) }),
		says:  share(count(now, isJudged), len(now), map[string]any{"not_known": persons(count(now, isOpen)), "set_apart": persons(count(now, isIn("mark", "set-apart")))}),
	}
	recorded := isIn("mark_recorded", "appropriate", "under-dosed", "non-bleeding", "unsupported")
	recordedGood := count(now, isIn("mark_recorded", "appropriate"))
	want["appropriate_by_month"] = wanted{
		heads: []string{"Month", "Appropriate", "Judged", "Share"},
		rows: d.byMonth(func(m string) []any {
			of := pick(d.episodes, inMonth(m), isJudged)
			return []any{persons(count(of, isGood)), persons(len(of)), part{count(of, isGood), len(of)}}
		}),
		says: share(count(now, isGood), count(now, isJudged), map[string]any{"recorded": persons(recordedGood), "recorded_of": persons(count(now, recorded)), "recorded_share": part{recordedGood, count(now, recorded)}}),
	}
	want["below_band_by_month"] = wanted{
		heads: []string{"Month", "Below the band", "With a dose in one band", "Share below"},
		rows: d.byMonth(func(m string) []any {
			of := pick(d.episodes, inMonth(m), isGiven, byDose, banded)
			return []any{persons(count(of, below)), persons(len(of)), part{count(of, below), len(of)}}
		}),
		says: share(count(now, isGiven, byDose, below), count(now, isGiven, byDose, banded), map[string]any{"not_known": persons(count(now, isGiven, byDose, isIn("dose_band", "not_known")))}),
	}
	want["tested_after"] = wanted{
		heads: []string{"Month", "Any clotting test after", "Episodes given", "Share"},
		rows: d.byMonth(func(m string) []any {
			of := pick(d.episodes, inMonth(m), isGiven, byDose)
			return []any{persons(count(of, after)), persons(len(of)), part{count(of, after), len(of)}}
		}),
		says: share(count(now, isGiven, byDose, after), count(now, isGiven, byDose), nil),
	}
	want["reasons"] = wanted{
		heads: []string{"Mark", "Because", "Episodes"},
		rows:  ranked(now, func(r row) []string { return []string{r["mark"], r["because"]} }),
		says:  map[string]any{"of": persons(len(now))},
	}
	want["undetermined_why"] = wanted{
		heads: []string{"Because", "Episodes"},
		rows:  ranked(pick(year, isOpen), func(r row) []string { return []string{r["because"]} }),
		says:  share(count(year, isOpen), len(year), nil),
	}
	want["completeness"] = d.completeness(now)
	want["dose_distribution"] = d.doses(year)
	want["units_given"] = unitsGiven(now)
	want["weight_by_units"] = weightByUnits(year)
	want["test_by_bleeding"] = d.tests(year)
	want["children_marks"] = childrenMarks(year)
	want["children_dose"] = childrenDose(year)
	d.sensitivity(year, want)

	want["by_location"] = funnel(year, "location", "Place", "places", "other places, pooled")
	want["by_specialty"] = funnel(year, "specialty", "Specialty", "specialties", "other specialties, pooled")
	want["ab_plasma"] = d.groupAB()
	want["use_by_month"] = wanted{
		heads: []string{"Month", "Units issued", "Given", "Presumed given", "Thrown away", "Returned, transferred or unknown"},
		rows: d.byMonth(func(m string) []any {
			of := pick(d.bags, inMonth(m))
			return []any{bags(d.issued[m]), bags(count(of, isIn("fate", "transfused"))), bags(count(of, isIn("fate", "presumed"))), bags(count(of, bagLost, not(frozen))), bags(count(of, isIn("fate", "returned", "transferred", "unknown")))}
		}),
		says: bagShare(count(bagsNow, bagGiven), count(bagsNow, not(frozen)), map[string]any{"not_known": bags(count(bagsNow, isIn("fate", "unknown")))}),
	}
	want["use_by_product"] = useByProduct(pick(bagsNow, not(frozen)))
	used := func(all []row) []row {
		return pick(all, isIn("fate", "transfused", "presumed", "discarded"), not(frozen))
	}
	want["waste_by_month"] = wanted{
		heads: []string{"Month", "Thrown away", "Given or thrown away", "Share", "Frozen losses, apart"},
		rows: d.byMonth(func(m string) []any {
			of := used(pick(d.bags, inMonth(m)))
			return []any{bags(count(of, bagLost)), bags(len(of)), bagPart{count(of, bagLost), len(of)}, bags(count(d.bags, inMonth(m), frozen))}
		}),
		says: bagShare(count(used(bagsNow), bagLost), len(used(bagsNow)), map[string]any{"frozen": bags(count(bagsNow, frozen))}),
	}
	d.waste(used, want)
	return want
}

func (d *rows) completeness(now []row) wanted {
	given := pick(now, isGiven)
	assumed, stated := map[string]bool{}, map[string]bool{}
	for _, u := range d.units {
		if u["given"] == "true" && u["times_basis"] == "assumed" {
			assumed[u["episode_id"]] = true
		}
	}
	for _, f := range d.findings {
		if is(f, "finding", "indication_missing", "indication_unmapped") {
			stated[f["episode_id"]] = true
		}
	}
	w := wanted{heads: []string{"What a mark needs", "Known", "Of", "Share known"}}
	add := func(input string, of []row, is func(row) bool) {
		n := count(of, is)
		w.rows = append(w.rows, []any{input, persons(n), persons(len(of)), part{n, len(of)}})
	}
	add("final fate of every unit", now, func(r row) bool { return is(r, "units_unknown", "0") && is(r, "units_presumed", "0") })
	add("weight", given, hasAny("weight_kg"))
	add("clotting test before", given, hasAny("inr_before_at", "pt_ratio_before_at", "aptt_ratio_before_at"))
	add("clotting test after", given, after)
	add("why it was used (bleeding, procedure, or none found)", given, not(isIn("basis", "not_known")))
	add("indication of every unit", given, func(r row) bool { return !stated[r["episode_id"]] })
	add("start and end of every unit given", given, func(r row) bool { return !assumed[r["episode_id"]] })
	of := pick(now, isIn("outcome", "transfused", "unknown"))
	w.says = share(count(of, isOpen), len(of), nil)
	return w
}

// funnel counts the judged by place; places with few of them stand together, last.
func funnel(year []row, column, head, hole, rest string) wanted {
	judged := map[string][]row{}
	for _, e := range pick(year, isJudged) {
		place := cmp.Or(e[column], "not recorded")
		judged[place] = append(judged[place], e)
	}
	w := wanted{heads: []string{head, "Appropriate", "Judged", "Share"}}
	var few []row
	add := func(place string, of []row) {
		w.rows = append(w.rows, []any{place, persons(count(of, isGood)), persons(len(of)), part{count(of, isGood), len(of)}})
	}
	for _, place := range slices.Sorted(maps.Keys(judged)) {
		if len(judged[place]) < smallCount {
			few = append(few, judged[place]...)
		} else {
			add(place, judged[place])
		}
	}
	named := len(w.rows)
	if len(few) > 0 {
		add(rest, few)
	}
	w.says = share(count(year, isGood), count(year, isJudged), map[string]any{hole: bags(named)})
	return w
}

// groupAB counts the units of group AB given in the year by their recipient's group.
func (d *rows) groupAB() wanted {
	group, basis, given := map[string]string{}, map[string]string{}, map[string][]row{}
	for _, p := range d.patients {
		group[p["patient_id"]] = p["abo"]
	}
	for _, e := range d.episodes {
		basis[e["episode_id"]] = e["basis"]
	}
	for _, u := range pick(d.units, isIn("given", "true")) {
		given[u["bag"]] = append(given[u["bag"]], u)
	}
	counts := map[string][2]int{}
	lost, all := 0, 0
	for _, b := range pick(d.bags, d.inYear, isIn("unit_abo", "AB")) {
		if bagLost(b) && !frozen(b) {
			lost++
		}
		for _, u := range given[b["bag"]] {
			n := counts[cmp.Or(group[u["patient_id"]], "not known")]
			if basis[u["episode_id"]] == "major_haemorrhage" {
				n[0]++
			} else {
				n[1]++
			}
			counts[cmp.Or(group[u["patient_id"]], "not known")] = n
			all++
		}
	}
	w := wanted{heads: []string{"Group of the recipient", "In a major haemorrhage", "Otherwise"}}
	for _, who := range []string{"AB", "A", "B", "O", "not known"} {
		w.rows = append(w.rows, []any{who, persons(counts[who][0]), persons(counts[who][1])})
	}
	unknown := counts["not known"][0] + counts["not known"][1]
	w.says = share(counts["A"][1]+counts["B"][1]+counts["O"][1], all, map[string]any{"not_known": persons(unknown), "lost": bags(lost)})
	return w
}

func (d *rows) doses(year []row) wanted {
	of := pick(year, isGiven, byDose)
	var doses []float64
	bins := make([]int, 16)
	for _, e := range of {
		if e["dose"] != "" {
			dose := float(e["dose"])
			doses = append(doses, dose)
			bins[min(15, int(dose/2))]++
		}
	}
	slices.Sort(doses)
	median := (doses[(len(doses)-1)/2] + doses[len(doses)/2]) / 2
	w := wanted{heads: []string{"mL/kg", "Episodes"}, says: share(count(of, below), count(of, banded), map[string]any{
		"median": measured(math.Round(median*10) / 10), "not_known": persons(count(of, isIn("dose_band", "not_known")))})}
	for i, n := range bins {
		label := fmt.Sprintf("%d to %d", 2*i, 2*i+2)
		if i == 15 {
			label = "30 and more"
		}
		w.rows = append(w.rows, []any{label, persons(n)})
	}
	return w
}

func unitsGiven(now []row) wanted {
	of := pick(now, isGiven, byDose)
	w := wanted{heads: []string{"Units given", "Episodes"}}
	for units := 1; units <= 8; units++ {
		label := fmt.Sprint(units)
		if units == 8 {
			label = "8 and more"
		}
		w.rows = append(w.rows, []any{label, persons(count(of, func(r row) bool { return min(8, unitsOf(r)) == units }))})
	}
	w.says = share(count(of, func(r row) bool { return unitsOf(r) == 2 }), len(of), nil)
	return w
}

func weightByUnits(year []row) wanted {
	adults := pick(year, isGiven, byDose, isIn("population", "adult"))
	w := wanted{heads: []string{"Weight", "1 unit", "2 units", "3 units", "4 units", "5 and more"}}
	heavy := func(r row) bool { return r["weight_kg"] != "" && float(r["weight_kg"]) >= 75 }
	for _, band := range []struct {
		label    string
		from, to float64
	}{{"under 60 kg", 0, 60}, {"60 to 74 kg", 60, 75}, {"75 to 89 kg", 75, 90}, {"90 kg and more", 90, 1e9}} {
		cells := []any{band.label}
		for units := 1; units <= 5; units++ {
			cells = append(cells, persons(count(adults, func(r row) bool {
				kg := float(r["weight_kg"])
				return kg >= band.from && kg < band.to && min(5, unitsOf(r)) == units
			})))
		}
		w.rows = append(w.rows, cells)
	}
	w.says = share(count(adults, heavy, func(r row) bool { return unitsOf(r) == 2 }), count(adults, heavy), map[string]any{"not_known": persons(count(adults, not(hasAny("weight_kg"))))})
	return w
}

func (d *rows) tests(year []row) wanted {
	strength := map[string]string{}
	for _, e := range d.evidence {
		if strength[e["episode_id"]] != "recorded" {
			strength[e["episode_id"]] = e["strength"]
		}
	}
	bleeding := func(r row) string {
		switch {
		case strength[r["episode_id"]] != "":
			return strength[r["episode_id"]]
		case is(r, "basis", "none_found", "procedure_low"):
			return "not found"
		}
		return "not known"
	}
	band := func(r row) string {
		value, bound := r["inr_before"], r["inr_before_bound"]
		if value == "" && bound == "" {
			value, bound = r["pt_ratio_before"], r["pt_ratio_before_bound"]
		}
		if bound == "unclottable" {
			return "over 5"
		}
		if value == "" {
			return "no test"
		}
		x := float(value)
		if bound == ">" {
			x += 1e-9
		}
		for _, b := range []struct {
			to    float64
			label string
		}{{1.5, "to 1.5"}, {2, "over 1.5 to 2"}, {3, "over 2 to 3"}, {5, "over 3 to 5"}} {
			if x <= b.to {
				return b.label
			}
		}
		return "over 5"
	}
	of := pick(year, isGiven)
	w := wanted{heads: []string{"INR (else PT ratio) before", "Bleeding recorded", "Bleeding inferred", "No bleeding found", "Bleeding not known"}}
	total := func(what string) int { return count(of, func(r row) bool { return bleeding(r) == what }) }
	for _, label := range []string{"to 1.5", "over 1.5 to 2", "over 2 to 3", "over 3 to 5", "over 5", "no test"} {
		cells := []any{label}
		for _, what := range []string{"recorded", "inferred", "not found", "not known"} {
			cells = append(cells, persons(count(of, func(r row) bool { return band(r) == label && bleeding(r) == what })))
		}
		w.rows = append(w.rows, cells)
	}
	w.says = share(total("not found"), len(of), map[string]any{"not_known": persons(total("not known")), "no_test": persons(count(of, func(r row) bool { return band(r) == "no test" }))})
	return w
}

func childrenMarks(year []row) wanted {
	of := pick(year, isIn("population", "newborn", "child"))
	w := wanted{heads: append([]string{"Who"}, markHeads...), says: share(count(of, isIn("population", "newborn")), len(of), map[string]any{"judged": persons(count(of, isJudged)), "not_known": persons(count(of, isOpen))})}
	for _, who := range []string{"newborn", "child"} {
		w.rows = append(w.rows, append([]any{who}, markCells(pick(of, isIn("population", who)))...))
	}
	return w
}

func childrenDose(year []row) wanted {
	of := pick(year, isIn("population", "newborn", "child"), isGiven, byDose)
	w := wanted{heads: []string{"Who", "Below their band", "Within", "Above", "Dose not known"}, says: share(count(of, below), count(of, banded), map[string]any{
		"low": measured(10), "high": measured(20), "not_known": persons(count(of, isIn("dose_band", "not_known")))})}
	for _, who := range []string{"newborn", "child"} {
		some := pick(of, isIn("population", who))
		w.rows = append(w.rows, []any{who, persons(count(some, below)), persons(count(some, isIn("dose_band", "within"))), persons(count(some, isIn("dose_band", "above"))), persons(count(some, isIn("dose_band", "not_known")))})
	}
	return w
}

// sensitivity recomputes both figures of other values from episodes and other_marks.
func (d *rows) sensitivity(year []row, want map[string]wanted) {
	shown := wanted{heads: []string{"What if", "Appropriate", "Judged", "Share appropriate", "95 % interval", "Change their mark", "Policy value"}}
	moved := wanted{heads: []string{"What if", "Change of the mark", "Episodes", "Policy value"}}
	given := count(year, isGiven)
	says := share(count(year, isGood), count(year, isJudged), map[string]any{"given": persons(given)})
	anywhere := map[string]bool{}
	for _, one := range []struct{ label, value, setting, code, hole string }{
		{"Dose floor 10 mL/kg (the site's own)", "dose_low", "10", "dose_low=10", "floor_10"}, {"Dose floor 12 mL/kg", "dose_low", "12", "dose_low=12", "floor_12"}, {"Dose floor 15 mL/kg", "dose_low", "15", "dose_low=15", "floor_15"},
		{"INR limit 1.5 (the site's own)", "over_bleeding", "1.5", "over_bleeding=1.5", "inr_1_5"}, {"INR limit 1.8", "over_bleeding", "1.8", "over_bleeding=1.8", "inr_1_8"}, {"INR limit 2.0", "over_bleeding", "2", "over_bleeding=2", "inr_2"},
	} {
		then := map[string]string{}
		for _, o := range d.others {
			if o["value"] == one.value && float(o["setting"]) == float(one.setting) {
				then[o["episode_id"]] = o["mark"]
			}
		}
		good, judged, changed := 0, 0, 0
		moves := map[string]int{}
		for _, e := range year {
			mark := e["mark"]
			if other := then[e["episode_id"]]; other != "" {
				changed++
				moves[mark+" → "+other]++
				anywhere[e["episode_id"]] = true
				mark = other
			}
			if mark == "appropriate" {
				good++
			}
			if slices.Contains(everyMark[:4], mark) {
				judged++
			}
		}
		shown.rows = append(shown.rows, []any{one.label, persons(good), persons(judged), part{good, judged}, interval{good, judged}, persons(changed), one.code})
		says[one.hole] = persons(changed)
		for _, m := range pooled(moves) {
			moved.rows = append(moved.rows, []any{one.label, m.name, persons(m.n), one.code})
		}
	}
	shown.says = says
	moved.says = share(len(anywhere), given, nil)
	want["sensitivity"], want["sensitivity_moves"] = shown, moved
}

type move struct {
	name string
	n    int
}

// pooled puts small counts together, with the next where they are too few still;
// the commonest first, what is pooled last.
func pooled(moves map[string]int) []move {
	var all []move
	for name, n := range moves {
		all = append(all, move{name, n})
	}
	slices.SortFunc(all, func(a, b move) int { return cmp.Or(a.n-b.n, cmp.Compare(a.name, b.name)) })
	rest := 0
	for len(all) > 0 && (all[0].n < smallCount || isSmall(rest)) {
		rest += all[0].n
		all = all[1:]
	}
	slices.SortFunc(all, func(a, b move) int { return cmp.Or(b.n-a.n, cmp.Compare(a.name, b.name)) })
	if rest > 0 {
		all = append(all, move{"other changes", rest})
	}
	return all
}

func useByProduct(of []row) wanted {
	w := wanted{heads: []string{"Kind of plasma", "Given", "Presumed given", "Thrown away", "Returned", "Transferred or unknown"}}
	var kinds []string
	for _, b := range of {
		if !slices.Contains(kinds, b["product"]) {
			kinds = append(kinds, b["product"])
		}
	}
	slices.SortFunc(kinds, func(a, b string) int {
		if (a == "") != (b == "") {
			return map[bool]int{true: 1, false: -1}[a == ""]
		}
		return cmp.Compare(a, b)
	})
	most, best, given, unstated := "", 0, 0, 0
	for _, kind := range kinds {
		some := pick(of, isIn("product", kind))
		label := strings.ReplaceAll(kind, "_", " ")
		if kind == "" {
			label, unstated = "not stated", count(some, bagGiven)
		}
		if n := count(some, bagGiven); n > best || n == best && label > most {
			most, best = label, n
		}
		given += count(some, bagGiven)
		w.rows = append(w.rows, []any{label, bags(count(some, isIn("fate", "transfused"))), bags(count(some, isIn("fate", "presumed"))), bags(count(some, bagLost)), bags(count(some, isIn("fate", "returned"))), bags(count(some, isIn("fate", "transferred", "unknown")))})
	}
	w.says = bagShare(best, given, map[string]any{"most": most, "not_known": bags(unstated)})
	return w
}

// waste recomputes the figures of what was thrown away.
func (d *rows) waste(used func([]row) []row, want map[string]wanted) {
	now := pick(d.bags, inMonth(demoMonth))
	lost := pick(used(now), bagLost)
	avoidable := isIn("avoidable", "true")
	noReason := not(hasAny("reason"))
	reasons := wanted{heads: []string{"Reason", "Bags"}, says: bagShare(count(lost, avoidable), len(lost), map[string]any{"not_known": bags(count(lost, noReason))})}
	for _, one := range ranked(lost, func(r row) []string { return []string{cmp.Or(r["reason"], "~")} }) {
		label := strings.ReplaceAll(strings.Replace(one[0].(string), "~", "no reason recorded", 1), "_", " ")
		reasons.rows = append(reasons.rows, []any{label, bags(one[1].(persons))})
	}
	want["waste_by_reason"] = reasons

	fate := wanted{heads: []string{"Hours after the thaw", "Given", "Thrown away", "Returned"}}
	timed := hasAny("hours_thaw_to_fate")
	for _, band := range []struct {
		label    string
		over, to float64
	}{{"to 1", math.Inf(-1), 1}, {"1 to 2", 1, 2}, {"2 to 4", 2, 4}, {"4 to 8", 4, 8}, {"8 to 24", 8, 24}, {"24 to 72", 24, 72}, {"72 to 120", 72, 120}, {"over 120", 120, math.Inf(1)}} {
		some := pick(now, timed, func(r row) bool {
			h := float(r["hours_thaw_to_fate"])
			return h > band.over && h <= band.to
		})
		fate.rows = append(fate.rows, []any{band.label, bags(count(some, bagGiven)), bags(count(some, bagLost)), bags(count(some, isIn("fate", "returned")))})
	}
	within := count(now, timed, func(r row) bool { return float(r["hours_thaw_to_fate"]) <= 4 })
	fate.says = bagShare(within, count(now, timed), map[string]any{"not_known": bags(count(now, not(timed), not(frozen)))})
	want["thaw_to_fate"] = fate

	// Thrown away, or given without a recorded indication, at the demo's price.
	without := map[string]string{}
	for _, e := range pick(d.episodes, inMonth(demoMonth), isIn("mark", "non-bleeding", "unsupported")) {
		without[e["episode_id"]] = e["mark"]
	}
	given := map[string]int{}
	for _, u := range d.units {
		if u["given"] == "true" && without[u["episode_id"]] != "" {
			given[without[u["episode_id"]]]++
		}
	}
	all := given["non-bleeding"] + given["unsupported"]
	want["avoidable"] = wanted{heads: []string{"What", "Units"},
		rows: [][]any{{"thrown away", bags(len(lost))}, {"given, marked unsupported", bags(given["unsupported"])}, {"given, marked non-bleeding", bags(given["non-bleeding"])}},
		says: bagShare(len(lost)+all, len(used(now)), map[string]any{"discarded": bags(len(lost)), "given": bags(all)})}

	kinds := []string{"expired_after_thaw", "out_of_temperature", "no_longer_needed", "wrong_unit", "patient_died", "readiness_stock"}
	lostIn := func(is func(row) bool) []row { return pick(used(pick(d.bags, is)), bagLost) }
	before := lostIn(func(r row) bool { return r["month"] >= d.months[0] && r["month"] < demoMonth })
	want["waste_reasons_by_month"] = wanted{heads: []string{"Month"}, rows: d.byMonth(func(m string) []any {
		some := lostIn(inMonth(m))
		var cells []any
		for _, kind := range kinds {
			cells = append(cells, bags(count(some, isIn("reason", kind))))
		}
		return append(cells, bags(count(some, isIn("reason", "damaged", "recall", "other"))), bags(count(some, noReason)))
	}), says: bagShare(count(lost, avoidable), len(lost), map[string]any{"before": bags(len(before)), "before_avoidable": bags(count(before, avoidable)), "not_known": bags(count(lost, noReason))})}

	year := used(pick(d.bags, d.inYear))
	clock := func(r row) (time.Time, bool) {
		t, err := time.Parse("2006-01-02T15:04:05Z", strings.Replace(r["thawed_local"], " ", "T", 1))
		if err != nil {
			t, err = time.Parse("2006-01-02T15:04:05", strings.Replace(r["thawed_local"], " ", "T", 1))
		}
		return t, err == nil
	}
	atHour := func(hours ...int) func(row) bool {
		return func(r row) bool {
			t, ok := clock(r)
			return ok && t.Format("15:04:05") != "00:00:00" && slices.Contains(hours, t.Hour())
		}
	}
	byHour := wanted{heads: []string{"Hour of the thaw", "Given", "Thrown away", "Share thrown away"}}
	var night, day []int
	for h := range 24 {
		some := pick(year, atHour(h))
		byHour.rows = append(byHour.rows, []any{fmt.Sprint(h), bags(count(some, bagGiven)), bags(count(some, bagLost)), bagPart{count(some, bagLost), len(some)}})
		if h >= 20 || h < 8 {
			night = append(night, h)
		} else {
			day = append(day, h)
		}
	}
	byHour.says = bagShare(count(year, bagLost, atHour(night...)), count(year, atHour(night...)), map[string]any{
		"day_lost": bags(count(year, bagLost, atHour(day...))), "day_of": bags(count(year, atHour(day...))), "not_known": bags(count(year, not(atHour(append(night, day...)...))))})
	want["waste_by_hour"] = byHour

	on := func(days ...time.Weekday) func(row) bool {
		return func(r row) bool {
			t, ok := clock(r)
			return ok && slices.Contains(days, t.Weekday())
		}
	}
	byDay := wanted{heads: []string{"Day of the thaw", "Given", "Thrown away", "Share thrown away"}}
	week := []time.Weekday{1, 2, 3, 4, 5, 6, 0}
	for _, one := range week {
		some := pick(year, on(one))
		byDay.rows = append(byDay.rows, []any{one.String(), bags(count(some, bagGiven)), bags(count(some, bagLost)), bagPart{count(some, bagLost), len(some)}})
	}
	byDay.says = bagShare(count(year, bagLost, on(6, 0)), count(year, on(6, 0)), map[string]any{"week_lost": bags(count(year, bagLost, on(week[:5]...))), "week_of": bags(count(year, on(week[:5]...)))})
	want["waste_by_weekday"] = byDay
}

// checkAnswer compares the sentences and tiles that head the page.
func (d *rows) checkAnswer(p *packPage) (wrong []string) {
	fault := func(format string, a ...any) { wrong = append(wrong, fmt.Sprintf(format, a...)) }
	now, bagsNow := pick(d.episodes, inMonth(demoMonth)), pick(d.bags, inMonth(demoMonth))
	figures := d.figures()
	good, judged := count(now, isGood), count(now, isJudged)
	low, high := wilson(good, judged)
	waste, dose := figures["waste_by_month"].says, figures["dose_distribution"].says
	avoidable, open := figures["avoidable"].says, figures["completeness"].says
	cost := 61.50 * float64(avoidable["discarded"].(bags)+avoidable["given"].(bags))
	if len(p.sentences) != 3 {
		return []string{fmt.Sprintf("%d sentences head the page, wanted three", len(p.sentences))}
	}
	begins := func(i int, form string, a ...any) {
		if want := fmt.Sprintf(form, a...); !strings.HasPrefix(p.sentences[i], want) {
			fault("sentence %d is %q, wanted it to begin %q", i+1, p.sentences[i], want)
		}
	}
	begins(0, "In %s, %s episodes of plasma began and %s bags were given.", monthName(demoMonth), withCommas(len(now)), withCommas(count(bagsNow, bagGiven)))
	begins(1, "%s of the %s judged episodes were appropriate (95 %% interval %s to %s);", percent(float64(good)/float64(judged)), withCommas(judged), percent(low), percent(high))
	begins(2, "%s bags were thrown away and %s units given in episodes without a recorded indication, at a cost of EUR %s.", withCommas(int(avoidable["discarded"].(bags))), withCommas(int(avoidable["given"].(bags))), withCommas(int(math.Round(cost))))
	if want := "With inferred bleeding left out, "; !strings.HasPrefix(p.note, want) {
		fault("the note under the tiles is %q", p.note)
	} else if why := differs(strings.TrimSuffix(strings.Fields(p.note)[5]+" %", ","), figures["appropriate_by_month"].says["recorded_share"]); why != "" && !strings.Contains(p.note, "hidden would") {
		fault("the share without inferred bleeding %s", why)
	}
	for label, want := range map[string]any{
		"episodes": persons(len(now)), "bags given": bags(count(bagsNow, bagGiven)), "appropriate, of those judged": part{good, judged},
		"undetermined": open["share"], "mL/kg, median dose": dose["median"], "thrown away": waste["share"],
	} {
		tile, found := p.tiles[label]
		if !found {
			fault("no tile %q", label)
			continue
		}
		if why := differs(tile[0], want); why != "" {
			fault("the tile %q %s", label, why)
		}
	}
	for label, want := range map[string]string{
		"episodes": withCommas(judged) + " judged", "bags given": withCommas(count(bagsNow, not(frozen))) + " thawed, issued or lost",
		"appropriate, of those judged": "95 % interval " + percent(low) + " to " + percent(high), "mL/kg, median dose": "in " + spanName,
	} {
		if got := p.tiles[label][1]; got != want {
			fault("under the tile %q stands %q, recomputed %q", label, got, want)
		}
	}
	shown, _, _ := text(waste["interval"])
	if got := p.tiles["thrown away"][1]; got != "95 % interval "+shown {
		fault("under the tile of what was thrown away stands %q, recomputed %q", got, shown)
	}
	return wrong
}
