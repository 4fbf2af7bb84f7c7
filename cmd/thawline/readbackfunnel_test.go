package main

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"
)

// funnel counts the judged by place; places with few of them stand together, last.
func (d *rows) funnel(year []row, column, head, hole, rest string) wanted {
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
		if len(judged[place]) < max(5, d.small) {
			few = append(few, judged[place]...)
		} else {
			add(place, judged[place])
		}
	}
	named := len(w.rows)
	if len(few) > 0 {
		add(rest, few)
	}
	w.says = d.share(count(year, isGood), count(year, isJudged), map[string]any{hole: bags(named)})
	return w
}

// withFunnel adds the limits around the hospital's own share: exact for the binomial
// distribution, with interpolation, mirrored above; and where ten places or more differ
// by more than chance at the tail that is left the root of the mean squared distance as
// many standard errors out, the outer tenths drawn in (Spiegelhalter 2005, Stat Med
// 24:1185).
func (w wanted) withFunnel(n, of []float64) wanted {
	whole := numberOf(w.says["share"]) / 100
	var z []float64
	for r := range n {
		if n[r] >= 0 && of[r] > 0 {
			z = append(z, (n[r]/of[r]-whole)/math.Sqrt(whole*(1-whole)/of[r]))
		}
	}
	sorted := slices.Sorted(slices.Values(z))
	places := float64(len(z))
	drawnIn := 0.1 * (places - 1)
	below := int(drawnIn)
	between := func(a, b float64) float64 { return a + (b-a)*(drawnIn-float64(below)) }
	low := between(sorted[below], sorted[below+1])
	high := between(sorted[len(z)-1-below], sorted[len(z)-2-below])
	var squares float64
	for _, x := range z {
		squares += math.Pow(math.Min(high, math.Max(low, x)), 2)
	}
	widen, note := 1.0, "Limits are exact for chance alone: taken together, they differ no more than it lets them."
	if mean := squares / places; len(z) < 10 {
		note = fmt.Sprintf("Limits are exact for chance alone: with %d places, fewer than 10, they are not widened by how much places differ, for one far out would widen its own.", len(z))
	} else if mean > 1+2*math.Sqrt(2/places) {
		widen = math.Sqrt(mean)
		note = fmt.Sprintf("They differ by more than chance alone would make them: the exact limits are those of the chance that is left %s times as many standard errors out (Spiegelhalter 2005: the square root of the mean squared distance, the outer tenth of them drawn in).", decimal(widen, 2))
	}
	normal := distuv.Normal{Sigma: 1}
	// under is the lower limit of a size around a share, upTo the chance of so many or fewer.
	chances := func(size, share float64) func(r float64) float64 {
		logN, _ := math.Lgamma(size + 1)
		return func(r float64) float64 {
			logR, _ := math.Lgamma(r + 1)
			logRest, _ := math.Lgamma(size - r + 1)
			return math.Exp(logN - logR - logRest + r*math.Log(share) + (size-r)*math.Log(1-share))
		}
	}
	under := func(size, share, p float64) float64 {
		upTo, of := 0.0, chances(size, share)
		for r := 0.0; ; r++ {
			here := of(r)
			if upTo += here; upTo > p || r == size {
				return math.Max(0, (r-(upTo-p)/here)/size)
			}
		}
	}
	tail := func(p float64) float64 { return normal.CDF(widen * normal.Quantile(p)) }
	limit := func(size, p float64) float64 {
		switch {
		case !(size > 0):
			return math.NaN()
		case p > 0.5:
			return 1 - under(size, 1-whole, tail(1-p))
		}
		return under(size, whole, tail(p))
	}
	// beyond says whether so few or so many have less than the chance of a tail.
	beyond := func(n, size, p float64) bool {
		few, many, of := 0.0, 0.0, chances(size, whole)
		for r := 0.0; r <= size; r++ {
			if r <= n {
				few += of(r)
			}
			if r >= n {
				many += of(r)
			}
		}
		return math.Min(few, many) <= tail(p)
	}
	limits := make([][]float64, len(n))
	var outside, outside95 []string
	for r := range n {
		for _, p := range []float64{0.001, 0.025, 0.975, 0.999} {
			size := of[r]
			if math.IsNaN(n[r]) {
				size = 0
			}
			limits[r] = append(limits[r], limit(size, p))
		}
	}
	for i, head := range []string{"Lower 99.8 %", "Lower 95 %", "Upper 95 %", "Upper 99.8 %"} {
		w = w.withColumn(head, func(r int) any { return fraction(limits[r][i]) })
	}
	w = w.withColumn("Outside", func(r int) any {
		switch {
		case math.IsNaN(n[r]) || !(of[r] > 0):
		case beyond(n[r], of[r], 0.001):
			outside = append(outside, w.rows[r][0].(string))
			return "99.8 % limit"
		case beyond(n[r], of[r], 0.025):
			outside95 = append(outside95, w.rows[r][0].(string))
			return "95 % limit"
		}
		return "–"
	})
	said := "None that is shown lies outside the 99.8 % limits."
	if len(outside) > 0 {
		said = "Outside the 99.8 % limits: " + strings.Join(outside, ", ") + ". A prompt to look, not a verdict."
	}
	if len(outside95) > 0 {
		w.notes = append(w.notes, "Outside the 95 % limits alone: "+strings.Join(outside95, ", ")+". Of twenty places chance alone puts one there.")
	}
	w.notes = append(w.notes, said, note, "The picture asks who differs from the rest by more than chance: it is no league table.")
	w.limit = limit
	return w
}
