package main

import "math"

// effects recomputes what the INR did, over the episodes of the year with a
// measurement on both sides. What is expected comes from the regression of Holland
// and Brooks 2006 (Am J Clin Pathol 126:133): each unit lowers the INR by 0.37 of it
// less 0.47.
func (d *rows) effects(year []row, want map[string]wanted) {
	given := pick(year, isGiven)
	type pair struct{ before, after, expected float64 }
	var pairs []pair
	lower := 0
	for _, e := range given {
		if e["inr_before"] == "" || e["inr_after"] == "" || e["inr_before_bound"] != "" || e["inr_after_bound"] != "" {
			continue
		}
		one := pair{before: float(e["inr_before"]), after: float(e["inr_after"])}
		one.expected = one.before
		for range unitsOf(e) {
			one.expected -= 0.37*one.expected - 0.47
		}
		pairs = append(pairs, one)
		if one.after < one.before {
			lower++
		}
	}
	numbers := func(some []pair, of func(pair) float64) (low, median, high float64) {
		var all []float64
		for _, p := range some {
			all = append(all, of(p))
		}
		return quartiles(all)
	}
	before := func(p pair) float64 { return p.before }
	later := func(p pair) float64 { return p.after }
	expected := func(p pair) float64 { return p.expected }
	change := func(p pair) float64 { return p.after - p.before }
	expectedChange := func(p pair) float64 { return p.expected - p.before }
	w := wanted{heads: []string{"INR before", "Episodes", "Median before", "Lower quartile after", "Median after", "Upper quartile after", "Median expected after",
		"Lower quartile of the change", "Median change", "Upper quartile of the change", "Median expected change"}}
	var over2 []pair
	for _, band := range []struct {
		label    string
		over, to float64
	}{{"to 1.5", 0, 1.5}, {"over 1.5 to 2", 1.5, 2}, {"over 2 to 3", 2, 3}, {"over 3 to 5", 3, 5}, {"over 5", 5, math.Inf(1)}} {
		var some []pair
		for _, p := range pairs {
			if p.before > band.over && p.before <= band.to {
				some = append(some, p)
			}
		}
		if band.over >= 2 {
			over2 = append(over2, some...)
		}
		cells := []any{band.label, persons(len(some))}
		add := func(x float64) { cells = append(cells, peopled{x, 2, len(some)}) }
		_, median, _ := numbers(some, before)
		add(median)
		low, median, high := numbers(some, later)
		add(low)
		add(median)
		add(high)
		_, median, _ = numbers(some, expected)
		add(median)
		low, median, high = numbers(some, change)
		add(low)
		add(median)
		add(high)
		_, median, _ = numbers(some, expectedChange)
		add(median)
		w.rows = append(w.rows, cells)
	}
	_, median, _ := numbers(pairs, change)
	_, much, _ := numbers(over2, change)
	w.says = d.share(lower, len(pairs), map[string]any{"not_known": persons(len(given) - len(pairs)), "tested": persons(count(given, after)), "given": persons(len(given)),
		"change": peopled{median, 2, len(pairs)}, "much": peopled{much, 2, len(over2)}})
	// Each look at the figure has a table of its own columns.
	of := func(columns ...int) wanted {
		part := wanted{says: w.says}
		for _, c := range columns {
			part.heads = append(part.heads, w.heads[c])
		}
		for _, row := range w.rows {
			var cells []any
			for _, c := range columns {
				cells = append(cells, row[c])
			}
			part.rows = append(part.rows, cells)
		}
		return part
	}
	want["effect"], want["effect-2"] = of(0, 1, 2, 3, 4, 5, 6), of(0, 1, 7, 8, 9, 10)
}
