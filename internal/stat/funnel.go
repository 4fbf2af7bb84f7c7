package stat

import (
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// FunnelLimit gives the limit under which a share of n episodes falls with
// probability p where the target is the true rate, by the exact binomial
// distribution with interpolation (Spiegelhalter 2005, Stat Med 24:1185,
// appendix; formula from memory): r is the smallest count with P(R ≤ r) > p,
// α = (P(R ≤ r) − p) / P(R = r), the limit (r − α)/n, clipped to 0 and 1.
// 95 % limits take p = 0.025 and 0.975, 99.8 % limits 0.001 and 0.999.
//
// Interpolation makes the curve smooth in n; it is no quantile of the counts.
// It knows no variation between places beyond chance: see Overdispersion. NaN
// where n < 1 or target or p is outside 0 to 1.
func FunnelLimit(target float64, n int, p float64) float64 {
	if n < 1 || !(target >= 0 && target <= 1 && p > 0 && p < 1) {
		return math.NaN()
	}
	if target == 0 || target == 1 {
		return target
	}
	b := distuv.Binomial{N: float64(n), P: target}
	r := sort.Search(n, func(r int) bool { return b.CDF(float64(r)) > p })
	at, before := 1.0, 0.0
	if r < n {
		at = b.CDF(float64(r))
	}
	if r > 0 {
		before = b.CDF(float64(r - 1))
	}
	alpha := (at - p) / (at - before)
	return min(1, max(0, (float64(r)-alpha)/float64(n)))
}

// ExactLimit gives the limit at probability p such that a share lies beyond it where its
// count or one further out has a probability of at most p, or 1−p: FunnelLimit below, and
// FunnelLimit of the opposite event above. The published formula, which is FunnelLimit at
// both ends, lets the upper tail be a count wider.
func ExactLimit(target float64, n int, p float64) float64 {
	if p > 0.5 {
		return 1 - FunnelLimit(1-target, n, 1-p)
	}
	return FunnelLimit(target, n, p)
}

// Tails gives the exact probability of count or fewer of n, and of count or more, where
// the target is the true rate (binomial; Clopper and Pearson 1934, Biometrika 26:404).
func Tails(target float64, count, n int) (lower, upper float64) {
	// Each as a sum from its own end: 1 − P(fewer) would round a small one away.
	return distuv.Binomial{N: float64(n), P: target}.CDF(float64(count)), distuv.Binomial{N: float64(n), P: 1 - target}.CDF(float64(n - count))
}

// Dispersion says how much places differ beyond chance.
type Dispersion struct {
	// Phi is the mean of z² over the places; 1 where only chance plays.
	Phi float64
	// Tau2 is the variance between places on the scale of shares, from Phi.
	Tau2 float64
	// Places is how many places it was made from.
	Places int
}

// LeastPlaces is how many places there must be for limits to be widened by how much they
// differ: of fewer, one that is far out makes most of φ, draws in hardly any of the z by
// winsorising a tenth of them, and so hides itself.
const LeastPlaces = 10

// Beyond says that places differ by more than chance: φ over 1 + 2√(2/I), two
// standard errors over the 1 that chance alone would give, since Iφ is then
// about χ² with I degrees of freedom (Spiegelhalter 2005, from memory); never of fewer
// than LeastPlaces.
func (d Dispersion) Beyond() bool {
	return d.Places >= LeastPlaces && d.Phi > 1+2*math.Sqrt(2/float64(d.Places))
}

// tail is the probability that is asked for in the place of p: where φ is Beyond chance
// the normal deviate of p is moved out by √φ (Spiegelhalter 2005's multiplicative model,
// z/√φ against z, on exact tails, so that 0 of many can still lie beyond a limit that a
// straight widening would have clipped at 0).
func (d Dispersion) tail(p float64) float64 {
	if !d.Beyond() {
		return p
	}
	return distuv.UnitNormal.CDF(math.Sqrt(d.Phi) * distuv.UnitNormal.Quantile(p))
}

// Limit gives ExactLimit at the tail that is left where places differ by more than
// chance. For large n it comes to Multiplicative.
func (d Dispersion) Limit(target float64, n int, p float64) float64 {
	if p > 0.5 {
		return 1 - ExactLimit(1-target, n, d.tail(1-p))
	}
	return ExactLimit(target, n, d.tail(p))
}

// Outside says that count of n lies outside the limits that leave p at each end.
func (d Dispersion) Outside(target float64, count, n int, p float64) bool {
	lower, upper := Tails(target, count, n)
	return min(lower, upper) <= d.tail(p)
}

// Overdispersion gives the spread of the shares counts[i]/sizes[i] about the
// target (Spiegelhalter 2005, Stat Med 24:1185): z = (p−target)/s with
// s² = target(1−target)/n; φ = Σz²/I; τ² = (Iφ − (I−1)) / (Σw − Σw²/Σw) with
// w = 1/s², not under 0. winsorise is the share of z drawn in at each end
// (0.1 in the paper, 0 for none), so that true outliers do not hide
// themselves; the ends are quantiles as in Quantile.
//
// Places of size 0 are left out. NaN with fewer than two places or a target of
// 0 or 1. Do not widen limits where φ is under 1; with fewer than about ten
// places φ is itself uncertain (see Beyond).
func Overdispersion(counts, sizes []float64, target, winsorise float64) Dispersion {
	var z, w []float64
	for i, n := range sizes {
		if n > 0 {
			s2 := target * (1 - target) / n
			z = append(z, (counts[i]/n-target)/math.Sqrt(s2))
			w = append(w, 1/s2)
		}
	}
	if len(z) < 2 || !(target > 0 && target < 1) {
		return Dispersion{math.NaN(), math.NaN(), len(z)}
	}
	sorted := slices.Sorted(slices.Values(z))
	low, high := quantile(sorted, winsorise), quantile(sorted, 1-winsorise)
	var phi, sum, sum2 float64
	for i := range z {
		v := min(high, max(low, z[i]))
		phi += v * v
		sum += w[i]
		sum2 += w[i] * w[i]
	}
	places := float64(len(z))
	phi /= places
	return Dispersion{phi, max(0, (places*phi-(places-1))/(sum-sum2/sum)), len(z)}
}

// Multiplicative gives normal funnel limits at z standard errors, widened by
// √φ where φ is over 1, clipped to 0 and 1 (Spiegelhalter 2005). z is 1.96 for
// 95 %, 3.09 for 99.8 %. Normal limits are too tight below for small n.
func (d Dispersion) Multiplicative(target, n, z float64) Interval {
	return clipped(target, z*math.Sqrt(target*(1-target)/n*max(1, d.Phi)))
}

// Additive gives normal funnel limits at z standard errors with the variance
// τ² between places added, clipped to 0 and 1 (Spiegelhalter 2005). Unlike
// Multiplicative it does not shrink to the target for large n.
func (d Dispersion) Additive(target, n, z float64) Interval {
	return clipped(target, z*math.Sqrt(target*(1-target)/n+d.Tau2))
}

func clipped(centre, half float64) Interval {
	return Interval{max(0, centre-half), min(1, centre+half)}
}
