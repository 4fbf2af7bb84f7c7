package stat

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// LaneyU is UChart with limits widened by σ_z, the variation between points
// beyond the Poisson (Laney 2002, Quality Engineering 14:531): as LaneyP, with
// z = (u−ū)/√(ū/n). σ_z comes back too; it is 1 where it cannot be computed.
//
// Events that come in clusters, as units of one episode do, are overdispersed
// by nature: use it rather than UChart for them.
func LaneyU(counts, sizes []float64, k int) (Chart, float64) {
	u, first := rate(counts, sizes, k), baseline(k, len(counts))
	sigma := SigmaU(counts[:first], sizes[:first], u)
	return rates(counts, sizes, u, sigma), sigma
}

// SigmaU is SigmaP of rates about a centre u, with z = (u_i−u)/√(u/n).
func SigmaU(counts, sizes []float64, u float64) float64 { return sigmaZ(counts, sizes, u, u) }

// ULimits is UChart about a centre from elsewhere, with limits of 3·widen standard
// errors.
func ULimits(counts, sizes []float64, centre, widen float64) Chart {
	return rates(counts, sizes, centre, widen)
}

// rates draws limits of 3·widen standard errors about u.
func rates(counts, sizes []float64, u, widen float64) Chart {
	c := Chart{Centre: u, Points: make([]Point, len(counts))}
	for i, n := range sizes {
		if !(n > 0) {
			c.Points[i] = Point{math.NaN(), math.NaN(), math.NaN()}
			continue
		}
		half := 3 * widen * math.Sqrt(u/n)
		c.Points[i] = Point{counts[i] / n, math.Max(0, u-half), u + half}
	}
	return c
}

// Poisson gives the exact 95 % interval of the mean behind a count of
// independent events (Garwood 1936, Biometrika 28:437), from quantiles of χ²
// with 2k and 2k+2 degrees of freedom. Divide both ends by the exposure for a
// rate. NaN for a count under 0.
//
// Where events come in clusters it is too narrow.
func Poisson(count int) Interval {
	if count < 0 {
		return Interval{math.NaN(), math.NaN()}
	}
	i := Interval{High: distuv.ChiSquared{K: float64(2*count + 2)}.Quantile(0.975) / 2}
	if count > 0 {
		i.Low = distuv.ChiSquared{K: float64(2 * count)}.Quantile(0.025) / 2
	}
	return i
}
