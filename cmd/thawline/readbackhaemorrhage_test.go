package main

import (
	"cmp"
	"slices"
	"time"
)

// activation is a major haemorrhage that somebody declared, told by events and by
// units that bear its number.
type activation struct {
	patient, number string // the number where no patient is known
	first, last     time.Time
	called          time.Time // zero where only units or a standing down tell of it
	stoodDown       bool
	units           []row
}

// activations gathers what is told of each patient: what follows within six hours of
// the last word (activation_before_h) is the same activation, and what bears the same
// number within a day (massive_red_cell_h).
func (d *rows) activations() []activation {
	type word struct {
		row
		at        time.Time
		stoodDown bool
	}
	told := map[string][]word{}
	who := func(r row) string { return cmp.Or(r["patient_id"], "nobody "+r["activation_id"]) }
	for _, r := range d.issues {
		if at, ok := instant(r, "issued_at"); ok && r["activation_id"] != "" {
			told[who(r)] = append(told[who(r)], word{row: r, at: at})
		}
	}
	for _, r := range pick(d.events, isIn("kind", "activation")) {
		if at, ok := instant(r, "at"); ok {
			told[who(r)] = append(told[who(r)], word{row: r, at: at, stoodDown: is(r, "detail", "stood_down")})
		}
	}
	var all []activation
	for patient, words := range told {
		slices.SortStableFunc(words, func(a, b word) int {
			return cmp.Or(a.at.Compare(b.at), cmp.Compare(map[bool]int{true: 1}[a.stoodDown], map[bool]int{true: 1}[b.stoodDown]))
		})
		number := ""
		for i, w := range words {
			apart := time.Duration(1 << 62)
			if i > 0 {
				apart = w.at.Sub(words[i-1].at)
			}
			if apart > 6*time.Hour && (w.row["activation_id"] == "" || w.row["activation_id"] != number || apart > 24*time.Hour) {
				all = append(all, activation{patient: patient, first: w.at})
			}
			number = w.row["activation_id"]
			one := &all[len(all)-1]
			one.last, one.stoodDown = w.at, w.stoodDown
			if _, exact := onClock(w.row, "at"); w.row["kind"] == "activation" && !w.stoodDown && exact && one.called.IsZero() {
				one.called = w.at
			}
		}
	}
	for i := range all {
		one := &all[i]
		for _, r := range d.issues {
			if at, ok := instant(r, "issued_at"); ok && who(r) == one.patient && !at.Before(one.first) && !at.After(one.last.Add(6*time.Hour)) {
				one.units = append(one.units, r)
			}
		}
	}
	return all
}

// haemorrhages recomputes the figures of major haemorrhage.
func (d *rows) haemorrhages(year []row, want map[string]wanted) {
	every := d.activations()
	month := func(a activation) string { return a.first.In(d.zone).Format("2006-01") }
	var declared, held []activation
	for _, a := range every {
		if d.isYear(month(a)) {
			declared = append(declared, a)
			if !a.stoodDown {
				held = append(held, a)
			}
		}
	}
	some := func(all []activation, is func(activation) bool) int {
		return len(slices.DeleteFunc(slices.Clone(all), func(a activation) bool { return !is(a) }))
	}

	called := map[string]bool{}
	for _, e := range pick(d.evidence, isIn("source", "activation")) {
		called[e["episode_id"]] = true
	}
	apart := pick(year, isIn("basis", "major_haemorrhage"))
	w := wanted{heads: []string{"Three months to", "Activations"}, says: d.share(some(declared, func(a activation) bool { return a.stoodDown }), len(declared), map[string]any{
		"not_known": persons(some(declared, func(a activation) bool { return a.called.IsZero() })), "episodes": persons(len(apart)),
		"untold": persons(count(apart, func(r row) bool { return !called[r["episode_id"]] }))})}
	for end := 2; end < len(d.months); end += 3 {
		w.rows = append(w.rows, []any{monthName(d.months[end]), persons(some(every, func(a activation) bool { return slices.Contains(d.months[end-2:end+1], month(a)) }))})
	}
	want["activations"] = w

	// The first plasma after the call.
	var issue, start []float64
	for _, a := range held {
		for column, into := range map[string]*[]float64{"issued_at": &issue, "started_at": &start} {
			first := time.Time{}
			for _, u := range pick(a.units, isIn("component", "plasma")) {
				if at, ok := onClock(u, column); ok && !at.Before(a.called) && (first.IsZero() || at.Before(first)) {
					first = at
				}
			}
			if !a.called.IsZero() && !first.IsZero() {
				*into = append(*into, first.Sub(a.called).Minutes())
			}
		}
	}
	w = wanted{heads: []string{"From the call to", "Activations", "Lower quartile, min", "Median, min", "Upper quartile, min"}}
	for _, step := range []struct {
		label string
		took  []float64
	}{{"first issue", issue}, {"first start", start}} {
		low, median, high := quartiles(step.took)
		n := len(step.took)
		w.rows = append(w.rows, []any{step.label, persons(n), peopled{low, 1, n}, peopled{median, 1, n}, peopled{high, 1, n}})
	}
	_, median, _ := quartiles(issue)
	w.says = d.share(len(issue), len(held), map[string]any{"not_known": persons(len(held) - len(issue)), "issued": peopled{median, 0, len(issue)}})
	want["activation_to_plasma"] = w

	given := func(a activation, component string) int {
		return count(a.units, isIn("component", component), bagGiven)
	}
	w = wanted{heads: []string{"Plasma to red cells given", "Activations", "Plasma units given", "Red-cell units given"}}
	of, enough, unknown, plasma, red := 0, 0, 0, 0, 0
	sums := make([][3]int, 4)
	for _, a := range held {
		p, r := given(a, "plasma"), given(a, "red_cells")
		at := 3
		if r > 0 {
			of, plasma, red = of+1, plasma+p, red+r
			at = 0
			if 2*p >= r {
				enough, at = enough+1, 1
			}
			if p >= r {
				at = 2
			}
			if count(a.units, isIn("component", "plasma", "red_cells"), isIn("fate", "unknown")) > 0 {
				unknown++
			}
		}
		sums[at] = [3]int{sums[at][0] + 1, sums[at][1] + p, sums[at][2] + r}
	}
	for i, label := range []string{"under 1 to 2", "1 to 2, under 1 to 1", "1 to 1 and more", "no red cells given"} {
		n := sums[i][0]
		w.rows = append(w.rows, []any{label, persons(n), peopled{float64(sums[i][1]), 0, n}, peopled{float64(sums[i][2]), 0, n}})
	}
	w.says = d.share(enough, of, map[string]any{"not_known": persons(unknown), "plasma": peopled{float64(plasma), 0, of}, "red_cells": peopled{float64(red), 0, of}})
	want["plasma_to_red_cells"] = w

	w = wanted{heads: []string{"Component", "Given", "Presumed given", "Thrown away", "Returned", "Transferred or unknown", "Share thrown away"}}
	var issued []row
	for _, a := range declared {
		issued = append(issued, a.units...)
	}
	for _, component := range []struct{ code, label string }{{"plasma", "plasma"}, {"red_cells", "red cells"}, {"platelets", "platelets"}, {"cryoprecipitate", "cryoprecipitate"}} {
		all := pick(issued, isIn("component", component.code))
		w.rows = append(w.rows, append(append([]any{component.label}, fateCells(all)...), bagPart{count(all, bagLost), len(all)}))
	}
	all := pick(issued, isIn("component", "plasma"))
	w.says = d.bagShare(count(all, bagLost), len(all), map[string]any{"not_known": bags(count(all, isIn("fate", "unknown")))})
	want["activation_units"] = w
	want["exchanges"] = d.exchanges(year)
}

// exchanges counts exchanges by the first diagnosis of a list that was recorded from
// 30 days before the plasma to 14 after it (ttp_before_d, ttp_after_d), and the
// circuits primed.
func (d *rows) exchanges(year []row) wanted {
	const circuit = "a circuit primed"
	labels := []string{"exchange: thrombotic thrombocytopenic purpura", "exchange: liver disease", "exchange: intravascular coagulation", "exchange: another diagnosis", "exchange: no diagnosis recorded", circuit}
	episodes := map[string][]row{}
	for _, e := range pick(year, isGiven, isIn("basis", "plasma_exchange", "circuit_prime")) {
		if e["basis"] == "circuit_prime" {
			episodes[circuit] = append(episodes[circuit], e)
			continue
		}
		t0, _ := instant(e, "t0")
		t1, _ := instant(e, "t1")
		best := 4
		for _, r := range pick(d.events, isIn("kind", "diagnosis"), isIn("patient_id", e["patient_id"])) {
			at, ok := instant(r, "at")
			if !ok || at.Before(t0.AddDate(0, 0, -30)) || at.After(t1.AddDate(0, 0, 14)) {
				continue
			}
			rank := slices.Index([]string{"ttp", "liver_disease", "dic"}, r["detail"])
			if rank < 0 {
				rank = 3
			}
			best = min(best, rank)
		}
		episodes[labels[best]] = append(episodes[labels[best]], e)
	}
	units := func(all []row) (n int) {
		for _, e := range all {
			n += unitsOf(e)
		}
		return n
	}
	w := wanted{heads: []string{"Reason", "Episodes", "Units given", "Median mL an episode"}}
	of, used := 0, 0
	for _, label := range labels {
		some := episodes[label]
		var ml []float64
		for _, e := range some {
			ml = append(ml, float(e["delivered_ml"]))
		}
		_, median, _ := quartiles(ml)
		w.rows = append(w.rows, []any{label, persons(len(some)), peopled{float64(units(some)), 0, len(some)}, peopled{median, 0, len(some)}})
		if label != circuit {
			of, used = of+len(some), used+units(some)
		}
	}
	w.says = d.share(len(episodes[labels[0]]), of, map[string]any{"not_known": persons(len(episodes[labels[4]])), "circuits": persons(len(episodes[circuit])), "units": peopled{float64(used), 0, of}})
	return w
}
