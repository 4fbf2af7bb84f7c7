package stat

import (
	"math"
	"slices"
)

// Quantile gives the q-quantile of values, in any order, by linear
// interpolation between order statistics at position 1 + (n−1)q (type 7 of
// Hyndman and Fan 1996, Am Stat 50:361; the default of R and of DuckDB's
// quantile_cont). NaN without values. Values must not be NaN.
func Quantile(values []float64, q float64) float64 {
	return quantile(slices.Sorted(slices.Values(values)), q)
}

// Quartiles gives the lower quartile, the median and the upper quartile, as
// Quantile does.
func Quartiles(values []float64) (lower, median, upper float64) {
	sorted := slices.Sorted(slices.Values(values))
	return quantile(sorted, 0.25), quantile(sorted, 0.5), quantile(sorted, 0.75)
}

func quantile(sorted []float64, q float64) float64 {
	if len(sorted) == 0 {
		return math.NaN()
	}
	at := q * float64(len(sorted)-1)
	below := int(at)
	if below >= len(sorted)-1 {
		return sorted[len(sorted)-1]
	}
	return sorted[below] + (at-float64(below))*(sorted[below+1]-sorted[below])
}
