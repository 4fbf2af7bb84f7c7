package stat

import "math"

// Chart is a control chart: a centre line and, for each point, its limits.
type Chart struct {
	Centre float64
	Points []Point
}

// Point is one point of a chart. Value, Lower and Upper are NaN where the
// point has no denominator.
type Point struct{ Value, Lower, Upper float64 }

// d2 is the mean range of two values from a normal distribution in standard
// deviations, to the three decimals that control charts are published with
// (Shewhart's constant, Montgomery, Introduction to SQC, appendix).
const d2 = 1.128

// baseline gives how many first points make the centre: k, or all of them
// where there are fewer or k is not positive.
func baseline(k, n int) int {
	if k <= 0 || k > n {
		return n
	}
	return k
}

// rate gives Σ counts / Σ sizes over the first k points, NaN without sizes.
func rate(counts, sizes []float64, k int) float64 {
	var c, s float64
	for i := range baseline(k, len(counts)) {
		if sizes[i] > 0 {
			c += counts[i]
			s += sizes[i]
		}
	}
	return c / s
}

// PChart gives the chart of the shares counts[i]/sizes[i] with limits of three
// standard errors, each from the point's own size: p̄ ± 3√(p̄(1−p̄)/n), clipped
// to 0 and 1 (Montgomery, Introduction to SQC, control charts for fraction
// nonconforming). p̄ is over the first k points; k ≤ 0 means all.
//
// The limits take events to be independent and one rate to underlie all
// points. With sizes in the thousands nearly every point falls outside: use
// LaneyP. The lower limit is above 0 only where n > 9(1−p̄)/p̄. Where p̄ is 0
// or 1 the limits close on it and any change is beyond them.
func PChart(counts, sizes []float64, k int) Chart {
	return shares(counts, sizes, rate(counts, sizes, k), 1)
}

// shares draws limits of 3·widen standard errors about p.
func shares(counts, sizes []float64, p, widen float64) Chart {
	c := Chart{Centre: p, Points: make([]Point, len(counts))}
	for i, n := range sizes {
		if !(n > 0) {
			c.Points[i] = Point{math.NaN(), math.NaN(), math.NaN()}
			continue
		}
		half := 3 * widen * math.Sqrt(p*(1-p)/n)
		c.Points[i] = Point{counts[i] / n, math.Max(0, p-half), math.Min(1, p+half)}
	}
	return c
}

// PLimits is PChart about a centre from elsewhere, with limits of 3·widen standard
// errors: of points of which not all made the centre.
func PLimits(counts, sizes []float64, centre, widen float64) Chart {
	return shares(counts, sizes, centre, widen)
}

// LaneyP is PChart with limits widened by σ_z, the variation between points
// beyond the binomial (Laney 2002, Quality Engineering 14:531): see SigmaP, over
// the first k points. σ_z comes back too: near 1 the chart equals PChart, under 1
// it is narrower.
func LaneyP(counts, sizes []float64, k int) (Chart, float64) {
	p, first := rate(counts, sizes, k), baseline(k, len(counts))
	sigma := SigmaP(counts[:first], sizes[:first], p)
	return shares(counts, sizes, p, sigma), sigma
}

// SigmaP gives Laney's σ_z of shares about a centre p: the mean moving range of
// z = (p_i−p)/√(p(1−p)/n), divided by 1.128 (Laney 2002). It is 1 where it cannot
// be computed (fewer than two points with a size, or p of 0 or 1).
//
// Some texts take the standard deviation of z instead; a shift then widens its
// own limits.
func SigmaP(counts, sizes []float64, p float64) float64 {
	return sigmaZ(counts, sizes, p, p*(1-p))
}

// sigmaZ is σ_z of counts[i]/sizes[i] about a centre, the variance of one being
// variance/n.
func sigmaZ(counts, sizes []float64, centre, variance float64) float64 {
	var z []float64
	for i, n := range sizes {
		if n > 0 {
			z = append(z, (counts[i]/n-centre)/math.Sqrt(variance/n))
		}
	}
	sigma := movingRange(z) / d2
	if math.IsNaN(sigma) || math.IsInf(sigma, 0) {
		return 1
	}
	return sigma
}

// movingRange gives the mean absolute difference of neighbours, NaN for fewer
// than two values.
func movingRange(values []float64) float64 {
	var sum float64
	for i := 1; i < len(values); i++ {
		sum += math.Abs(values[i] - values[i-1])
	}
	if len(values) < 2 {
		return math.NaN()
	}
	return sum / float64(len(values)-1)
}

// UChart gives the chart of the rates counts[i]/sizes[i] (events per unit of
// exposure, which may be a fraction) with limits ū ± 3√(ū/n), the lower one
// clipped to 0 (Montgomery, Introduction to SQC, control charts for
// nonconformities per unit). ū is over the first k points; k ≤ 0 means all.
//
// It takes counts to be Poisson. For events rarer than about one in two
// points use GChart or TChart.
func UChart(counts, sizes []float64, k int) Chart {
	return rates(counts, sizes, rate(counts, sizes, k), 1)
}

// XmR gives the chart of single values with limits x̄ ± 3·MR̄/1.128, from the
// mean and the mean moving range of the first k values; k ≤ 0 means all (NIST/
// SEMATECH e-Handbook 6.3.2.2). NaN limits with fewer than two values.
//
// 3/1.128 is used as it stands; texts that print 2.66 differ from it in the
// fourth digit. It takes values to be roughly normal and not autocorrelated.
func XmR(values []float64, k int) Chart {
	first := values[:baseline(k, len(values))]
	var sum float64
	for _, v := range first {
		sum += v
	}
	c := Chart{Centre: sum / float64(len(first)), Points: make([]Point, len(values))}
	half := 3 * movingRange(first) / d2
	for i, v := range values {
		c.Points[i] = Point{v, c.Centre - half, c.Centre + half}
	}
	return c
}

// Signal says what a chart's rules see at one point.
type Signal struct {
	// Beyond says that the value lies outside the limits; on a limit is inside.
	Beyond bool
	// Length is how many points in a row up to this one lie on its side of the
	// centre; 0 for a point on the centre or without a value.
	Length int
	// Run says that Length has come to the run length asked for.
	Run bool
}

// Signals applies two rules to a chart (Western Electric 1956, rules 1 and 4):
// a point beyond a limit, and runLength points in a row on one side of the
// centre (8 there; 9 in Nelson 1984, J Qual Technol 16:237). Points on the
// centre, and points without a value, neither count nor break a run. A run
// length under 1 switches the run rule off.
//
// More rules find more false alarms: rule 1 alone gives one in about 370
// points, all four of Western Electric one in about 92 (Champ and Woodall
// 1987, Technometrics 29:393, from memory).
func (c Chart) Signals(runLength int) []Signal {
	signals := make([]Signal, len(c.Points))
	side, length := 0, 0
	for i, p := range c.Points {
		s := &signals[i]
		s.Beyond = p.Value < p.Lower || p.Value > p.Upper
		var here int
		switch {
		case p.Value > c.Centre:
			here = 1
		case p.Value < c.Centre:
			here = -1
		default: // on the centre, or NaN
			continue
		}
		if here != side {
			side, length = here, 0
		}
		length++
		s.Length = length
		s.Run = runLength > 0 && length >= runLength
	}
	return signals
}
