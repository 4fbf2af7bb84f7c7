package main

import (
	"cmp"
	"math"
	"slices"
)

// poisson is the exact 95 % interval of the mean behind a count (Garwood 1936,
// Biometrika 28:437): the means under which so many or more, and so few or fewer,
// come in one of forty.
func poisson(k int) (low, high float64) {
	upTo := func(k int, mean float64) (p float64) {
		for i := 0; i <= k; i++ {
			log, _ := math.Lgamma(float64(i + 1))
			p += math.Exp(float64(i)*math.Log(mean) - mean - log)
		}
		return p
	}
	solve := func(k int, wanted float64) float64 {
		from, to := 1e-9, 10*float64(k+10)
		for range 200 {
			if middle := (from + to) / 2; upTo(k, middle) > wanted {
				from = middle
			} else {
				to = middle
			}
		}
		return from
	}
	if k > 0 {
		low = solve(k-1, 0.975)
	}
	return low, solve(k, 0.025)
}

// use recomputes the figures of what was given, from the issues.
func (d *rows) use(want map[string]wanted) {
	given := map[[2]string]int{}
	issued := map[string]bool{}
	for _, r := range d.issues {
		month := d.monthOf(r, "issued_at")
		if month != "" && slices.Contains(d.months, month) {
			issued[r["component"]] = true
		}
		if month != "" && bagGiven(r) {
			given[[2]string{month, r["component"]}]++
		}
	}
	admissions := map[string]int{}
	for _, month := range d.months {
		some := pick(d.activity, inMonth(month), isIn("measure", "admissions"))
		if whole := pick(some, isIn("location", "")); len(whole) > 0 {
			some = whole
		}
		for _, r := range some {
			admissions[month] += int(float(r["count"]))
		}
	}
	rate := func(id, head string, per float64, of func(month string) int) {
		n, all := 0, 0
		for _, month := range d.months {
			if d.isNow(month) {
				n, all = n+given[[2]string{month, "plasma"}], all+of(month)
			}
		}
		low, high := poisson(n)
		scale := per / float64(all)
		want[id] = wanted{heads: []string{"Month", "Plasma units given", head}, rows: d.byMonth(func(m string) []any {
			return []any{bags(given[[2]string{m, "plasma"}]), bags(of(m))}
		}), says: map[string]any{"plasma": bags(n), "of": bags(all), "rate": fixed(scale*float64(n), 1), "period": d.period(),
			"interval": fixed(scale*low, 1) + " to " + fixed(scale*high, 1)}}
	}
	rate("plasma_per_red_cells", "Red-cell units given", 100, func(m string) int { return given[[2]string{m, "red_cells"}] })
	rate("plasma_per_admissions", "Admissions", 1000, func(m string) int { return admissions[m] })

	// A column without any row in the months shown is a dash, in the sentence too.
	doses, told := map[[2]string]int{}, map[string]bool{}
	for _, r := range d.medicines {
		month := d.monthOf(r, "given_at")
		if slices.Contains(d.months, month) {
			told[month], issued[r["medicine"]] = true, true
		}
		doses[[2]string{month, r["medicine"]}]++
	}
	cell := func(month, what string) any {
		switch {
		case !issued[what]:
			return "–"
		case what == "cryoprecipitate":
			return bags(given[[2]string{month, what}])
		case !told[month]:
			return "–"
		}
		return bags(doses[[2]string{month, what}])
	}
	// The period's sum, of the months that are known.
	sum := func(what string) any {
		total, known := 0, false
		for _, month := range d.months {
			if n, ok := cell(month, what).(bags); ok && d.isNow(month) {
				total, known = total+int(n), true
			}
		}
		if !known {
			return "–"
		}
		return bags(total)
	}
	want["other_products"] = wanted{heads: []string{"Month", "Cryoprecipitate, units", "Prothrombin complex, doses", "Fibrinogen concentrate, doses", "Vitamin K, doses"},
		rows: d.byMonth(func(m string) []any {
			return []any{cell(m, "cryoprecipitate"), cell(m, "prothrombin_complex"), cell(m, "fibrinogen_concentrate"), cell(m, "vitamin_k")}
		}), says: map[string]any{"period": d.period(), "cryoprecipitate": sum("cryoprecipitate"), "prothrombin": sum("prothrombin_complex"),
			"fibrinogen": sum("fibrinogen_concentrate"), "vitamin_k": sum("vitamin_k")}}

	want["use_by_place"] = d.byPlace(pick(d.bags, d.inPeriod, not(frozen)))
}

// byPlace counts bags by the place of their last issue: the twelve places with the
// most of them by name, the rest and those with few of them together, last.
func (d *rows) byPlace(of []row) wanted {
	const unrecorded, rest = "not recorded", "other places, pooled"
	byName := map[string][]row{}
	for _, b := range of {
		place := cmp.Or(b["location"], unrecorded)
		byName[place] = append(byName[place], b)
	}
	var ranked, named []string
	for place := range byName {
		ranked = append(ranked, place)
	}
	slices.SortFunc(ranked, func(a, b string) int { return cmp.Or(len(byName[b])-len(byName[a]), cmp.Compare(a, b)) })
	pooled := []row{}
	for i, place := range ranked {
		if i < 12 && len(byName[place]) >= max(5, d.small) {
			named = append(named, place)
		} else {
			pooled = append(pooled, byName[place]...)
		}
	}
	slices.Sort(named)
	w := wanted{heads: []string{"Place", "Given", "Presumed given", "Thrown away", "Returned", "Transferred or unknown"}}
	add := func(place string, some []row) {
		w.rows = append(w.rows, append([]any{place}, fateCells(some)...))
	}
	there := 0
	for _, place := range named {
		add(place, byName[place])
		if place != unrecorded {
			there += count(byName[place], bagGiven)
		}
	}
	if len(pooled) > 0 {
		add(rest, pooled)
	}
	places := len(byName)
	if byName[unrecorded] != nil {
		places--
	}
	w.says = d.bagShare(there, count(of, bagGiven), map[string]any{"places": bags(places), "not_known": bags(count(byName[unrecorded], bagGiven))})
	return w
}
