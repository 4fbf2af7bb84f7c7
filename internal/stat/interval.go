// Package stat holds the formulas of the pack: intervals for shares, control
// charts and their signals, funnel limits, charts of rare events, segmented
// regression and quantiles. Numbers in, numbers out: no months, no names, no
// policy. Each formula names its source and says where it should not be used.
//
// A number that cannot be computed is NaN, never a zero that looks like one.
package stat

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a confidence interval, both ends included.
type Interval struct{ Low, High float64 }

// z95 is the 0.975 quantile of the standard normal distribution.
var z95 = distuv.UnitNormal.Quantile(0.975)

func possible(k, n int) bool { return n >= 0 && k >= 0 && k <= n }

// Wilson gives the 95 % score interval of the share k/n (Wilson 1927; method 3
// of Newcombe 1998, Stat Med 17:857). It keeps its coverage on average down to
// small n and shares near 0 or 1. Of n = 0 nothing is known: 0 to 1. NaN where
// k is not from 0 to n.
//
// It assumes independent episodes; several of one patient make it too narrow.
func Wilson(k, n int) Interval {
	if !possible(k, n) {
		return Interval{math.NaN(), math.NaN()}
	}
	if n == 0 {
		return Interval{0, 1}
	}
	p, m, z2 := float64(k)/float64(n), float64(n), z95*z95
	centre := (p + z2/(2*m)) / (1 + z2/m)
	half := z95 * math.Sqrt(p*(1-p)/m+z2/(4*m*m)) / (1 + z2/m)
	i := Interval{math.Max(0, centre-half), math.Min(1, centre+half)}
	// At the ends the formula gives exactly 0 and 1, the arithmetic 1e-17.
	if k == 0 {
		i.Low = 0
	}
	if k == n {
		i.High = 1
	}
	return i
}

// ClopperPearson gives the exact 95 % interval of the share k/n (Clopper and
// Pearson 1934), from quantiles of the beta distribution. It never covers less
// than 95 %, and is wider than needed for that. n = 0 and impossible k as for
// Wilson.
func ClopperPearson(k, n int) Interval {
	if !possible(k, n) {
		return Interval{math.NaN(), math.NaN()}
	}
	i := Interval{0, 1}
	if k > 0 {
		i.Low = distuv.Beta{Alpha: float64(k), Beta: float64(n - k + 1)}.Quantile(0.025)
	}
	if k < n {
		i.High = distuv.Beta{Alpha: float64(k + 1), Beta: float64(n - k)}.Quantile(0.975)
	}
	return i
}

// Difference gives k1/n1 − k2/n2 and its 95 % interval by the hybrid score
// method without continuity correction (method 10 of Newcombe 1998, Stat Med
// 17:873). The two groups must not share episodes. NaN where a group is empty.
func Difference(k1, n1, k2, n2 int) (float64, Interval) {
	if !possible(k1, n1) || !possible(k2, n2) || n1 == 0 || n2 == 0 {
		return math.NaN(), Interval{math.NaN(), math.NaN()}
	}
	p1, p2 := float64(k1)/float64(n1), float64(k2)/float64(n2)
	a, b := Wilson(k1, n1), Wilson(k2, n2)
	d := p1 - p2
	return d, Interval{
		Low:  d - math.Hypot(p1-a.Low, b.High-p2),
		High: d + math.Hypot(a.High-p1, p2-b.Low),
	}
}
