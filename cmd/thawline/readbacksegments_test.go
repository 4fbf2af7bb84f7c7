package main

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// The demo's intervention, as its site.yaml states it.
const (
	interventionName  = "Teaching on dosing by weight"
	interventionMonth = "2025-11"
)

// withSegments fits a line to the shares before the intervention and one to those
// from it on: step and change of slope are the differences of the two lines at the
// month of the intervention. Each of these is a weighted sum of the shares, so that
// its variance after Newey and West 1987 (Econometrica 55:703) is the sum of products
// of weighted residuals up to a lag apart.
func (w wanted) withSegments(n, of []float64, months []string) wanted {
	at := slices.Index(months, interventionMonth)
	var t, y []float64
	before := 0
	for i := range n {
		if math.IsNaN(n[i]) || !(of[i] > 0) {
			continue
		}
		if i < at {
			before++
		}
		t, y = append(t, float64(i-at)), append(y, 100*n[i]/of[i])
	}
	points := len(t)
	lag := int(4 * math.Pow(float64(points)/100, 2.0/9))
	// A line's value at 0 and its slope, as weights of its points.
	line := func(t []float64) (level, slope []float64) {
		var mean, spread float64
		for _, x := range t {
			mean += x / float64(len(t))
		}
		for _, x := range t {
			spread += (x - mean) * (x - mean)
		}
		for _, x := range t {
			slope = append(slope, (x-mean)/spread)
			level = append(level, 1/float64(len(t))-mean*(x-mean)/spread)
		}
		return level, slope
	}
	sum := func(weights, of []float64) (total float64) {
		for i, x := range weights {
			total += x * of[i]
		}
		return total
	}
	levelBefore, slopeBefore := line(t[:before])
	levelAfter, slopeAfter := line(t[before:])
	from, rise := sum(levelBefore, y[:before]), sum(slopeBefore, y[:before])
	to, then := sum(levelAfter, y[before:]), sum(slopeAfter, y[before:])
	fitted := func(t float64) float64 {
		if t < 0 {
			return from + rise*t
		}
		return to + then*t
	}
	half := func(before, after []float64) float64 {
		var parts []float64
		for i, weight := range slices.Concat(before, after) {
			if i < len(before) {
				weight = -weight
			}
			parts = append(parts, weight*(y[i]-fitted(t[i])))
		}
		var variance float64
		for apart := 0; apart <= lag; apart++ {
			share := 1 - float64(apart)/float64(lag+1)
			if apart > 0 {
				share *= 2
			}
			variance += share * sum(parts[apart:], parts[:points-apart])
		}
		free := float64(points - 4)
		return distuv.StudentsT{Sigma: 1, Nu: free}.Quantile(0.975) * math.Sqrt(variance*float64(points)/free)
	}
	step, turn := to-from, then-rise
	halfStep, halfTurn := half(levelBefore, levelAfter), half(slopeBefore, slopeAfter)
	bounds := func(middle, half float64, decimals int) string {
		return fixed(middle-half, decimals) + " to " + fixed(middle+half, decimals)
	}
	stepped, turned := math.Abs(step) > halfStep, math.Abs(turn) > halfTurn
	verdict := "Both intervals hold 0: no change is claimed."
	switch {
	case stepped && turned:
		verdict = "Both intervals leave out 0: step and slope changed by more than chance. What else changed then is not known."
	case stepped:
		verdict = "The step's interval leaves out 0: it is more than chance. What else changed then is not known."
	case turned:
		verdict = "The slope's interval leaves out 0: it is more than chance. What else changed then is not known."
	}
	says := map[string]any{"name": interventionName, "since": monthName(interventionMonth), "before": fmt.Sprint(before), "after": fmt.Sprint(points - before),
		"level": fixed(step, 1), "level_interval": bounds(step, halfStep, 1), "slope": fixed(turn, 2), "slope_interval": bounds(turn, halfTurn, 2), "verdict": verdict}
	for name, v := range w.says {
		says[name] = v
	}
	w.says = says
	shown := func(r int) bool { return !math.IsNaN(n[r]) && of[r] > 0 }
	w = w.withColumn("Lines fitted", func(r int) any {
		if !shown(r) {
			return fraction(math.NaN())
		}
		return fraction(fitted(float64(r-at)) / 100)
	})
	w = w.withColumn("Line before, gone on", func(r int) any {
		if !shown(r) || r < at {
			return fraction(math.NaN())
		}
		return fraction((from + rise*float64(r-at)) / 100)
	})
	w.notes = append(w.notes, fmt.Sprintf("Segmented regression of the months' shares, the month of the intervention among those from it on; Newey–West errors (lag %d). It takes the line before to have gone on, and knows neither seasons nor a hospital without the intervention.", lag))
	return w
}
