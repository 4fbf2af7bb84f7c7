package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"thawline/internal/figure"
)

// figures recomputes what the figures say.
func (d *rows) figures() map[string]wanted {
	now := pick(d.episodes, d.inPeriod)
	year := pick(d.episodes, d.inYear)
	bagsNow := pick(d.bags, d.inPeriod)
	want := map[string]wanted{}

	want["marks_by_month"] = wanted{
		heads: append([]string{"Month", "Episodes"}, markHeads...),
		rows: d.byMonth(func(m string) []any {
			of := pick(d.episodes, inMonth(m))
			return append([]any{persons(len(of))}, markCells(of)...)
		}),
		says: d.share(count(now, isJudged), len(now), map[string]any{"not_known": persons(count(now, isOpen)), "set_apart": persons(count(now, isIn("mark", "set-apart")))}),
	}
	recorded := isIn("mark_recorded", "appropriate", "under-dosed", "non-bleeding", "unsupported")
	recordedGood := count(now, isIn("mark_recorded", "appropriate"))
	want["appropriate_by_month"] = wanted{
		heads: []string{"Month", "Appropriate", "Judged", "Share"},
		rows: d.byMonth(func(m string) []any {
			of := pick(d.episodes, inMonth(m), isJudged)
			return []any{persons(count(of, isGood)), persons(len(of)), part{count(of, isGood), len(of)}}
		}),
		says: d.share(count(now, isGood), count(now, isJudged), map[string]any{"not_known": persons(count(now, isOpen)), "recorded": persons(recordedGood), "recorded_of": persons(count(now, recorded)), "recorded_share": part{recordedGood, count(now, recorded)}}),
	}
	want["below_band_by_month"] = wanted{
		heads: []string{"Month", "Below the band", "With a dose in one band", "Share below"},
		rows: d.byMonth(func(m string) []any {
			of := pick(d.episodes, inMonth(m), isGiven, byDose, banded)
			return []any{persons(count(of, below)), persons(len(of)), part{count(of, below), len(of)}}
		}),
		says: d.share(count(now, isGiven, byDose, below), count(now, isGiven, byDose, banded), map[string]any{"not_known": persons(count(now, isGiven, byDose, isIn("dose_band", "not_known")))}),
	}
	want["tested_after"] = wanted{
		heads: []string{"Month", "Any clotting test after", "Episodes given", "Share"},
		rows: d.byMonth(func(m string) []any {
			of := pick(d.episodes, inMonth(m), isGiven, byDose)
			return []any{persons(count(of, after)), persons(len(of)), part{count(of, after), len(of)}}
		}),
		says: d.share(count(now, isGiven, byDose, after), count(now, isGiven, byDose), nil),
	}
	want["reasons"] = wanted{
		heads: []string{"Mark", "Because", "Episodes"},
		rows:  ranked(now, func(r row) []string { return []string{r["mark"], r["because"]} }),
		says:  map[string]any{"of": persons(len(now)), "period": d.period()},
	}
	want["undetermined_why"] = wanted{
		heads: []string{"Because", "Episodes"},
		rows:  ranked(pick(year, isOpen), func(r row) []string { return []string{r["because"]} }),
		says:  d.share(count(year, isOpen), len(year), nil),
	}
	want["completeness"] = d.completeness(now)
	want["dose_distribution"] = d.doses(year)
	want["units_given"] = d.unitsGiven(year)
	want["weight_by_units"] = d.weightByUnits(year)
	want["test_by_bleeding"] = d.tests(year)
	want["children_marks"] = d.childrenMarks(year)
	want["children_dose"] = d.childrenDose(year)
	d.sensitivity(year, want)

	want["by_location"] = d.funnel(year, "location", "Place", "places", "other places, pooled")
	want["by_specialty"] = d.funnel(year, "specialty", "Specialty", "specialties", "other specialties, pooled")
	want["ab_plasma"] = d.groupAB()
	want["use_by_month"] = wanted{
		heads: []string{"Month", "Bags in all", "Given", "Presumed given", "Thrown away", "Returned, transferred or unknown", "Issues"},
		rows: d.byMonth(func(m string) []any {
			of := pick(d.bags, inMonth(m))
			issues := count(d.issues, isIn("component", "plasma"), func(r row) bool { return d.monthOf(r, "issued_at") == m })
			return []any{bags(count(of, not(frozen))), bags(count(of, isIn("fate", "transfused"))), bags(count(of, isIn("fate", "presumed"))), bags(count(of, bagLost, not(frozen))), bags(count(of, isIn("fate", "returned", "transferred", "unknown"))), bags(issues)}
		}),
		says: d.bagShare(count(bagsNow, bagGiven), count(bagsNow, not(frozen)), map[string]any{"not_known": bags(count(bagsNow, isIn("fate", "unknown"))), "presumed": bags(count(bagsNow, isIn("fate", "presumed")))}),
	}
	want["use_by_product"] = d.useByProduct(pick(bagsNow, not(frozen)))
	used := func(all []row) []row {
		return pick(all, isIn("fate", "transfused", "presumed", "discarded"), not(frozen))
	}
	want["waste_by_month"] = wanted{
		heads: []string{"Month", "Thrown away", "Given or thrown away", "Share", "Frozen losses, apart"},
		rows: d.byMonth(func(m string) []any {
			of := used(pick(d.bags, inMonth(m)))
			return []any{bags(count(of, bagLost)), bags(len(of)), bagPart{count(of, bagLost), len(of)}, bags(count(d.bags, inMonth(m), frozen))}
		}),
		says: d.bagShare(count(used(bagsNow), bagLost), len(used(bagsNow)), map[string]any{"frozen": bags(count(bagsNow, frozen)), "not_known": bags(count(bagsNow, isIn("fate", "unknown")))}),
	}
	d.waste(used, want)
	want["restated"], want["feeds_by_month"], want["reviews"] = d.restated(), d.feeds(), d.agreement()
	d.use(want)
	want["appropriate_by_month-2"], want["below_band_by_month-2"] = want["appropriate_by_month"], want["below_band_by_month"]
	d.effects(year, want)
	d.haemorrhages(year, want)
	d.times(want)
	d.noticed(now, want)
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
	w := wanted{heads: []string{"What a mark needs", "Known", "Of episodes", "Share known"}}
	add := func(input string, of []row, is func(row) bool) {
		n := count(of, is)
		w.rows = append(w.rows, []any{input, persons(n), persons(len(of)), part{n, len(of)}})
	}
	of := pick(now, isIn("outcome", "transfused", "unknown"))
	add("final fate of every unit", of, func(r row) bool { return is(r, "units_unknown", "0") && is(r, "units_presumed", "0") })
	add("weight", given, hasAny("weight_kg"))
	add("clotting test before", given, hasAny("inr_before_at", "pt_ratio_before_at", "aptt_ratio_before_at"))
	add("clotting test after", given, after)
	add("why it was used (bleeding, procedure, or none found)", given, not(isIn("basis", "not_known")))
	add("indication of every unit", given, func(r row) bool { return !stated[r["episode_id"]] })
	add("start and end of every unit given", given, func(r row) bool { return !assumed[r["episode_id"]] })
	w.says = d.share(count(of, isOpen), len(of), map[string]any{"not_known": persons(count(of, isOpen))})
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
	w.says = d.share(counts["A"][1]+counts["B"][1]+counts["O"][1], all, map[string]any{"not_known": persons(unknown), "lost": bags(lost)})
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
	w.says = d.share(total("not found"), len(of), map[string]any{"not_known": persons(total("not known")), "no_test": persons(count(of, func(r row) bool { return band(r) == "no test" }))})
	return w
}

func (d *rows) childrenMarks(year []row) wanted {
	of := pick(year, isIn("population", "newborn", "child"))
	w := wanted{heads: append([]string{"Who"}, markHeads...), says: d.share(count(of, isIn("population", "newborn")), len(of), map[string]any{"judged": persons(count(of, isJudged)), "not_known": persons(count(of, isOpen))})}
	for _, who := range []string{"newborn", "child"} {
		w.rows = append(w.rows, append([]any{who}, markCells(pick(of, isIn("population", who)))...))
	}
	return w
}

// checkAnswer compares the sentences and tiles that head the page.
func (d *rows) checkAnswer(p *packPage, panels map[string]figure.Panel) (wrong []string) {
	fault := func(format string, a ...any) { wrong = append(wrong, fmt.Sprintf(format, a...)) }
	now, bagsNow := pick(d.episodes, d.inPeriod), pick(d.bags, d.inPeriod)
	figures := d.recomputed()
	good, judged := count(now, isGood), count(now, isJudged)
	low, high := wilson(good, judged)
	waste, dose := figures["waste_by_month"].says, figures["dose_distribution"].says
	avoidable, open := figures["avoidable"].says, figures["completeness"].says
	cost := 61.50 * float64(avoidable["discarded"].(bags)+avoidable["given"].(bags))
	if len(p.sentences) != 3 {
		return []string{fmt.Sprintf("%d sentences head the page, wanted three", len(p.sentences))}
	}
	is := func(i int, form string, a ...any) {
		if want := fmt.Sprintf(form, a...); p.sentences[i] != want {
			fault("sentence %d is %q, recomputed %q", i+1, p.sentences[i], want)
		}
	}
	changes, change := d.signals(p, panels), "the control chart sees no change."
	if told := append(slices.Clone(changes), d.unseen(p, panels)...); !slices.Equal(p.changes, told) {
		fault("what changed is told as %q, recomputed %q", p.changes, told)
	}
	for _, one := range changes {
		if signal, ok := strings.CutPrefix(strings.TrimSuffix(one, "."), p.articles["appropriate_by_month"].asks+" "); ok {
			change = "the control chart signals a change (" + signal + ")."
		}
	}
	began, beganNote := len(now), withCommas(judged)+" judged"
	if !strings.HasPrefix(p.tiles["episodes"][1], "given plasma") {
		is(0, "In %s, %s episodes of plasma began and %s bags were given.", d.period(), withCommas(began), withCommas(count(bagsNow, bagGiven)))
	} else {
		// All episodes less those given plasma would be a small count.
		began, beganNote = count(now, isGiven), "given plasma; "+beganNote
		is(0, "In %s, plasma was given in %s episodes, and %s bags were given.", d.period(), withCommas(began), withCommas(count(bagsNow, bagGiven)))
		if rest := len(now) - began; rest >= d.small {
			fault("the tile tells of episodes given plasma, and %d of %d are none", rest, len(now))
		}
	}
	is(1, "%s of the %s judged episodes were appropriate (95 %% interval %s to %s); %s", percent(float64(good)/float64(judged)), withCommas(judged), percent(low), percent(high), change)
	is(2, "%s bags were thrown away and %s units given in episodes marked non-bleeding or unsupported, at a cost of EUR %s.", withCommas(int(avoidable["discarded"].(bags))), withCommas(int(avoidable["given"].(bags))), withCommas(int(math.Round(cost))))
	if want := "With inferred bleeding left out, "; !strings.HasPrefix(p.note, want) {
		fault("the note under the tiles is %q", p.note)
	} else if strings.HasPrefix(p.note, want+"the share is hidden here: ") {
		if n := figures["appropriate_by_month"].says["recorded_share"].(part); d.small <= 1 {
			fault("the share without inferred bleeding is hidden: %v", n)
		}
	} else if why := d.differs(strings.TrimSuffix(strings.Fields(p.note)[5]+" %", ","), figures["appropriate_by_month"].says["recorded_share"]); why != "" {
		fault("the share without inferred bleeding %s", why)
	}
	for label, want := range map[string]any{
		"episodes": persons(began), "bags given": bags(count(bagsNow, bagGiven)), "appropriate, of those judged": part{good, judged},
		"undetermined": open["share"], "mL/kg, median dose": dose["median"], "thrown away": waste["share"],
	} {
		tile, found := p.tiles[label]
		if !found {
			fault("no tile %q", label)
			continue
		}
		if why := d.differs(tile[0], want); why != "" {
			fault("the tile %q %s", label, why)
		}
	}
	for label, want := range map[string]string{
		"episodes": beganNote, "bags given": withCommas(count(bagsNow, not(frozen))) + " thawed, issued or lost",
		"appropriate, of those judged": withCommas(good) + " of " + withCommas(judged) + "; 95 % interval " + percent(low) + " to " + percent(high), "mL/kg, median dose": withCommas(int(dose["of"].(persons))) + " episodes in " + spanName,
	} {
		if got := p.tiles[label][1]; got != want {
			fault("under the tile %q stands %q, recomputed %q", label, got, want)
		}
	}
	shown, _, _ := d.text(waste["interval"])
	lost, used := int(waste["n"].(bags)), int(waste["of"].(bags))
	if got := p.tiles["thrown away"][1]; got != withCommas(lost)+" of "+withCommas(used)+" given or thrown away; 95 % interval "+shown {
		fault("under the tile of what was thrown away stands %q, recomputed %q", got, shown)
	}
	return wrong
}
