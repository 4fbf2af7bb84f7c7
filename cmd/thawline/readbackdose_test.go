package main

import (
	"cmp"
	"fmt"
	"slices"
)

func (d *rows) doses(year []row) wanted {
	of := pick(year, isGiven, byDose)
	var doses []float64
	bins := make([]int, 16)
	for _, e := range pick(of, banded) {
		if e["dose"] != "" {
			dose := float(e["dose"])
			doses = append(doses, dose)
			bins[min(15, int(dose/2))]++
		}
	}
	_, median, _ := quartiles(doses)
	w := wanted{heads: []string{"mL/kg", "Episodes"}, says: d.share(count(of, below), count(of, banded), map[string]any{
		"median": peopled{median, 1, len(doses)}, "not_known": persons(count(of, isIn("dose_band", "not_known")))})}
	for i, n := range bins {
		label := fmt.Sprintf("%d to %d", 2*i, 2*i+2)
		if i == 15 {
			label = "30 and more"
		}
		w.rows = append(w.rows, []any{label, persons(n)})
	}
	return w
}

func (d *rows) unitsGiven(year []row) wanted {
	of := pick(year, isGiven, byDose)
	w := wanted{heads: []string{"Units given", "Episodes"}}
	for units := 1; units <= 8; units++ {
		label := fmt.Sprint(units)
		if units == 8 {
			label = "8 and more"
		}
		w.rows = append(w.rows, []any{label, persons(count(of, func(r row) bool { return min(8, unitsOf(r)) == units }))})
	}
	w.says = d.share(count(of, func(r row) bool { return unitsOf(r) == 2 }), len(of), nil)
	return w
}

func (d *rows) weightByUnits(year []row) wanted {
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
	w.says = d.share(count(adults, heavy, func(r row) bool { return unitsOf(r) == 2 }), count(adults, heavy), map[string]any{"not_known": persons(count(adults, not(hasAny("weight_kg"))))})
	return w
}

func (d *rows) childrenDose(year []row) wanted {
	of := pick(year, isIn("population", "newborn", "child"), isGiven, byDose)
	w := wanted{heads: []string{"Who", "Below their band", "Within", "Above", "Dose not known", "Median mL/kg"}, says: d.share(count(of, below), count(of, banded), map[string]any{
		"low": figured{10, 2}, "high": figured{20, 2}, "not_known": persons(count(of, isIn("dose_band", "not_known")))})}
	for _, who := range []string{"newborn", "child"} {
		some := pick(of, isIn("population", who))
		var doses []float64
		for _, e := range pick(some, banded) {
			doses = append(doses, float(e["dose"]))
		}
		_, median, _ := quartiles(doses)
		w.rows = append(w.rows, []any{who, persons(count(some, below)), persons(count(some, isIn("dose_band", "within"))), persons(count(some, isIn("dose_band", "above"))), persons(count(some, isIn("dose_band", "not_known"))), peopled{median, 1, count(some, banded)}})
	}
	return w
}

// sensitivity recomputes both figures of other values from episodes and other_marks.
func (d *rows) sensitivity(year []row, want map[string]wanted) {
	shown := wanted{heads: []string{"What if", "Appropriate", "Judged", "Share appropriate", "95 % interval", "Change their mark"}}
	moved := wanted{heads: []string{"What if", "Change of the mark", "Episodes"}}
	given := count(year, isGiven)
	says := d.share(count(year, isGood), count(year, isJudged), map[string]any{"given": persons(given), "tolerance": figured{0.5, 2}, "not_known": persons(count(year, isOpen))})
	anywhere := map[string]bool{}
	for _, one := range []struct{ label, value, setting, hole string }{
		{"Dose floor 10 mL/kg (the site's own)", "dose_low", "10", "floor_10"}, {"Dose floor 12 mL/kg", "dose_low", "12", "floor_12"}, {"Dose floor 15 mL/kg", "dose_low", "15", "floor_15"},
		{"INR limit 1.5 (the site's own)", "over_bleeding", "1.5", "inr_1_5"}, {"INR limit 1.8", "over_bleeding", "1.8", "inr_1_8"}, {"INR limit 2.0", "over_bleeding", "2", "inr_2"},
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
		shown.rows = append(shown.rows, []any{one.label, persons(good), persons(judged), part{good, judged}, interval{good, judged}, persons(changed)})
		says[one.hole] = persons(changed)
		for _, m := range d.pooled(moves) {
			moved.rows = append(moved.rows, []any{one.label, m.name, persons(m.n)})
		}
	}
	shown.says = says
	moved.says = d.share(len(anywhere), given, nil)
	want["sensitivity"], want["sensitivity_moves"] = shown, moved
}

type move struct {
	name string
	n    int
}

// pooled puts small counts together, with the next where they are too few still;
// the commonest first, what is pooled last.
func (d *rows) pooled(moves map[string]int) []move {
	var all []move
	for name, n := range moves {
		all = append(all, move{name, n})
	}
	slices.SortFunc(all, func(a, b move) int { return cmp.Or(a.n-b.n, cmp.Compare(a.name, b.name)) })
	rest := 0
	for len(all) > 0 && (all[0].n < d.small || d.isSmall(rest)) {
		rest += all[0].n
		all = all[1:]
	}
	slices.SortFunc(all, func(a, b move) int { return cmp.Or(b.n-a.n, cmp.Compare(a.name, b.name)) })
	if rest > 0 {
		all = append(all, move{"other changes", rest})
	}
	return all
}
