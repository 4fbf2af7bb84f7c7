package stat

import (
	"math"
	"slices"
	"testing"
)

// near fails where got is further than half a unit of the last digit printed
// in the source from want; digits is the number of decimals printed.
func near(t *testing.T, what string, got, want float64, digits int) {
	t.Helper()
	if !(math.Abs(got-want) <= 0.5001*math.Pow10(-digits)) {
		t.Errorf("%s: got %.*f, want %.*f", what, digits+2, got, digits, want)
	}
}

// Newcombe 1998, Stat Med 17:857, Table I (exact intervals of the table from
// memory, recomputed with R's binom.test, and with statsmodels beta).
func TestIntervalsNewcombe1998(t *testing.T) {
	for _, c := range []struct {
		k, n                               int
		wilsonLow, wilsonHigh, exLow, exHi float64
	}{
		{81, 263, .2553, .3662, .2527, .3676},
		{15, 148, .0624, .1605, .0578, .1617},
		{0, 20, 0, .1611, 0, .1684},
		{1, 29, .0061, .1718, .0009, .1776},
		{0, 10, 0, .2775, 0, .3085},
		{10, 10, .7225, 1, .6915, 1},
	} {
		w, e := Wilson(c.k, c.n), ClopperPearson(c.k, c.n)
		near(t, "Wilson low", w.Low, c.wilsonLow, 4)
		near(t, "Wilson high", w.High, c.wilsonHigh, 4)
		near(t, "exact low", e.Low, c.exLow, 4)
		near(t, "exact high", e.High, c.exHi, 4)
	}
	if w := Wilson(0, 20); w.Low != 0 {
		t.Errorf("Wilson 0/20: low %g, want exactly 0", w.Low)
	}
	if w := Wilson(10, 10); w.High != 1 {
		t.Errorf("Wilson 10/10: high %g, want exactly 1", w.High)
	}
}

// A published series of overload after plasma, watched for actively, prints 4
// of 272 units with an exact interval of 1 in 250 to 1 in 27; 1 in 249 when
// computed again, so the low end is compared as a share.
func TestExactIntervalPrintedAsOneIn(t *testing.T) {
	i := ClopperPearson(4, 272)
	near(t, "low", i.Low, .0040, 4)
	near(t, "high, 1 in", 1/i.High, 27, 0)
}

func TestIntervalsOfNothingAndOfNonsense(t *testing.T) {
	for name, f := range map[string]func(k, n int) Interval{"Wilson": Wilson, "exact": ClopperPearson} {
		if i := f(0, 0); i != (Interval{0, 1}) {
			t.Errorf("%s of 0/0: got %v, want 0 to 1", name, i)
		}
		for _, c := range [][2]int{{-1, 5}, {6, 5}, {0, -1}} {
			if i := f(c[0], c[1]); !math.IsNaN(i.Low) || !math.IsNaN(i.High) {
				t.Errorf("%s of %v: got %v, want NaN", name, c, i)
			}
		}
	}
}

func TestWilsonHoldsTheShare(t *testing.T) {
	for n := 1; n <= 60; n++ {
		for k := 0; k <= n; k++ {
			p := float64(k) / float64(n)
			for _, i := range []Interval{Wilson(k, n), ClopperPearson(k, n)} {
				if !(0 <= i.Low && i.Low <= p && p <= i.High && i.High <= 1) {
					t.Fatalf("%d/%d: %v does not hold %g", k, n, i, p)
				}
			}
		}
	}
}

// Newcombe 1998, Stat Med 17:873, Table II, method 10 (from memory); the third
// is Holcomb 2015 (PROPPR, JAMA 313:471), deaths within 24 h, which prints
// −4.2 % (−9.6 to 1.1) by another method, so one decimal of a per cent.
func TestDifference(t *testing.T) {
	d, i := Difference(56, 70, 48, 80)
	near(t, "difference", d, .2, 4)
	near(t, "low", i.Low, .0524, 4)
	near(t, "high", i.High, .3339, 4)
	_, i = Difference(9, 10, 3, 10)
	near(t, "low", i.Low, .1705, 4)
	near(t, "high", i.High, .8090, 4)
	d, i = Difference(43, 338, 58, 342)
	near(t, "PROPPR", d, -.042, 3)
	near(t, "PROPPR low", i.Low, -.096, 3)
	near(t, "PROPPR high", i.High, .011, 3)
	if d, _ := Difference(0, 0, 1, 2); !math.IsNaN(d) {
		t.Errorf("an empty group gave %g", d)
	}
}

// NIST/SEMATECH e-Handbook 7.2.6.2, gauge study; the handbook gives the 90th
// percentile by this method as 95.1957 (from memory).
func TestQuantile(t *testing.T) {
	gauge := []float64{95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682}
	near(t, "90th", Quantile(gauge, 0.9), 95.1957, 4)
	if gauge[0] != 95.1772 {
		t.Error("the values were put in order under their owner's hands")
	}
	// R: quantile(1:10) gives 3.25, 5.50, 7.75.
	q1, q2, q3 := Quartiles([]float64{10, 9, 8, 7, 6, 5, 4, 3, 2, 1})
	if q1 != 3.25 || q2 != 5.5 || q3 != 7.75 {
		t.Errorf("got %g %g %g", q1, q2, q3)
	}
	if q := Quantile([]float64{4}, 0.25); q != 4 {
		t.Errorf("of one value: %g", q)
	}
	if q := Quantile(nil, 0.5); !math.IsNaN(q) {
		t.Errorf("of nothing: %g", q)
	}
}

// Spiegelhalter 2005's interpolated exact limits. Expected values made with a
// separate program (plain sums of binomial terms, and R's qbinom for the last).
func TestFunnelLimits(t *testing.T) {
	for _, c := range []struct {
		target             float64
		n                  int
		l95, h95, l99, h99 float64
	}{
		{.30, 10, 0, .5608, 0, .7408},
		{.30, 20, .0812, .4873, .0015, .6137},
		{.30, 50, .1661, .4201, .1031, .4991},
		{.30, 100, .2069, .3869, .1603, .4416},
		{.30, 200, .2350, .3620, .2005, .4001},
		{.05, 20, 0, .1424, 0, .2351},
		{.05, 50, 0, .1098, 0, .1580},
		{.05, 100, .0061, .0919, 0, .1246},
		{.05, 200, .0196, .0797, .0065, .1012},
		{.2163265, 100, .1331, .2950, .0927, .3463},
	} {
		near(t, "95 % low", FunnelLimit(c.target, c.n, .025), c.l95, 4)
		near(t, "95 % high", FunnelLimit(c.target, c.n, .975), c.h95, 4)
		near(t, "99.8 % low", FunnelLimit(c.target, c.n, .001), c.l99, 4)
		near(t, "99.8 % high", FunnelLimit(c.target, c.n, .999), c.h99, 4)
	}
	for _, bad := range []float64{FunnelLimit(.3, 0, .025), FunnelLimit(math.NaN(), 5, .025), FunnelLimit(.3, 5, 1)} {
		if !math.IsNaN(bad) {
			t.Errorf("got %g, want NaN", bad)
		}
	}
	if FunnelLimit(0, 9, .975) != 0 || FunnelLimit(1, 9, .025) != 1 {
		t.Error("limits of a certain event are the event")
	}
	if h := FunnelLimit(.999, 1, .9999); h > 1 {
		t.Errorf("limit %g over 1", h)
	}
}

// Spiegelhalter 2005, formulas from memory; invented counts, computed with a
// separate program.
func TestOverdispersion(t *testing.T) {
	counts, sizes := []float64{12, 30, 8, 25, 18, 40}, []float64{40, 60, 45, 50, 75, 80}
	d := Overdispersion(counts, sizes, .38, 0)
	near(t, "phi", d.Phi, 4.458278, 6)
	near(t, "tau2", d.Tau2, .0178013, 7)
	plain := Dispersion{Phi: 1}.Multiplicative(.38, 80, 3)
	near(t, "plain low", plain.Low, .2172, 4)
	near(t, "plain high", plain.High, .5428, 4)
	wide := d.Multiplicative(.38, 80, 3)
	near(t, "multiplicative low", wide.Low, .0362, 4)
	near(t, "multiplicative high", wide.High, .7238, 4)
	wide = d.Additive(.38, 80, 3)
	near(t, "additive low, clipped", wide.Low, 0, 4)
	near(t, "additive high", wide.High, .8121, 4)
	if w := Overdispersion(counts, sizes, .38, 0.1); !(w.Phi < d.Phi) {
		t.Errorf("winsorising did not draw in the ends: %g", w.Phi)
	}
	if (Dispersion{Phi: 0.5}).Multiplicative(.38, 80, 3) != plain {
		t.Error("limits became narrower than chance")
	}
	if d := Overdispersion(counts[:1], sizes[:1], .38, 0); !math.IsNaN(d.Phi) || d.Beyond() {
		t.Error("one place has no spread")
	}
}

// Widened exact limits come to the normal ones of Spiegelhalter 2005 for large
// n, leave limits alone where chance explains the places, and are clipped.
func TestWidenedFunnelLimit(t *testing.T) {
	d := Overdispersion([]float64{12, 30, 8, 25, 18, 40, 12, 30, 8, 25, 18, 40}, []float64{40, 60, 45, 50, 75, 80, 40, 60, 45, 50, 75, 80}, .38, 0)
	if !d.Beyond() { // φ 4.46 over 1 + 2√(2/12) = 1.82
		t.Errorf("φ %g of %d places is not beyond chance", d.Phi, d.Places)
	}
	normal := d.Multiplicative(.38, 4000, 1.959964)
	near(t, "low", d.Limit(.38, 4000, .025), normal.Low, 3)
	near(t, "high", d.Limit(.38, 4000, .975), normal.High, 3)
	if got := d.Limit(.38, 5, .001); got != 0 {
		t.Errorf("limit %g, want 0", got)
	}
	// 1 + 2√(2/32) = 1.5: on the bound is not beyond.
	for phi, beyond := range map[float64]bool{0.6: false, 1.5: false, 1.51: true} {
		d := Dispersion{Phi: phi, Places: 32}
		if d.Beyond() != beyond {
			t.Errorf("φ %g of 32 places: beyond %v", phi, !beyond)
		}
		if same := d.Limit(.3, 50, .025) == ExactLimit(.3, 50, .025); same == beyond {
			t.Errorf("φ %g: limits the same as without: %v", phi, same)
		}
	}
	if (Dispersion{Phi: 9, Places: 9}).Beyond() {
		t.Error("nine places widened limits")
	}
}

// The exact tails of the tea-tasting kind of textbook: 10 tosses of a coin, 8 heads or
// more 56/1024, 1 or fewer 11/1024; and what an auditor found: 0 of 56 where the hospital
// has 39 % is (1 − 0.39)^56.
func TestTails(t *testing.T) {
	lower, upper := Tails(.5, 8, 10)
	near(t, "8 or fewer", lower, 1013.0/1024, 9)
	near(t, "8 or more", upper, 56.0/1024, 9)
	lower, _ = Tails(.5, 1, 10)
	near(t, "1 or fewer", lower, 11.0/1024, 9)
	lower, upper = Tails(.39, 0, 56)
	if math.Abs(lower/math.Pow(.61, 56)-1) > 1e-9 || upper != 1 {
		t.Errorf("0 of 56: %g, %g", lower, upper)
	}
	if _, upper = Tails(.39, 56, 56); math.Abs(upper/math.Pow(.39, 56)-1) > 1e-9 {
		t.Errorf("56 of 56: %g", upper)
	}
}

// A count lies outside exactly where it lies beyond the line that is drawn, whatever the
// widening; 0 of 56 does so even where places differ nearly four times as much as chance
// lets them.
func TestOutsideIsBeyondTheLine(t *testing.T) {
	for _, d := range []Dispersion{{Phi: 1, Places: 9}, {Phi: 1.92 * 1.92, Places: 12}} {
		for _, target := range []float64{.05, .39, .9} {
			for n := 1; n <= 60; n++ {
				for _, p := range []float64{.025, .001} {
					low, high := d.Limit(target, n, p), d.Limit(target, n, 1-p)
					for x := range n + 1 {
						if lower, upper := Tails(target, x, n); math.Abs(min(lower, upper)-p) < 1e-12 {
							continue // On the line itself rounding decides.
						}
						share := float64(x) / float64(n)
						if beyond := share < low-1e-12 || share > high+1e-12; beyond != d.Outside(target, x, n, p) {
							t.Fatalf("φ %g, target %g, %d of %d at %g: beyond the line %v (%g to %g)", d.Phi, target, x, n, p, beyond, low, high)
						}
					}
				}
			}
		}
		if !d.Outside(.39, 0, 56, .001) {
			t.Errorf("φ %g: 0 of 56 is not outside", d.Phi)
		}
	}
	near(t, "mirrored", ExactLimit(.3, 50, .975), 1-FunnelLimit(.7, 50, .025), 12)
}

// Benneyan 2001 for the formula of the limit; invented counts, computed apart.
func TestGChart(t *testing.T) {
	c := GChart([]float64{12, 5, 30, 8, 22, 17, 3, 41, 14, 9}, 0)
	near(t, "mean", c.Centre, 16.1, 6)
	near(t, "upper", c.Points[0].Upper, 65.877, 3)
	near(t, "exact limit", GQuantile(c.Centre, 0.99865), 108.65, 2)
	near(t, "exact median", GQuantile(c.Centre, 0.5), 10.50, 2)
	if c.Points[7].Lower != 0 || c.Points[7].Value != 41 {
		t.Errorf("got %+v", c.Points[7])
	}
}

// Nelson 1994 for the power (from memory); invented times, computed apart.
func TestTChart(t *testing.T) {
	times := []float64{6.2, 14.5, 3.1, 25, 9.8, 18.4, 1.2, 30.6, 11.1, 7.7}
	c := TChart(times, 0)
	near(t, "centre", c.Centre, 10.196, 3)
	near(t, "upper", c.Points[0].Upper, 133.3, 1)
	if c.Points[0].Lower != 0 || !slices.Equal(times[:1], []float64{c.Points[0].Value}) {
		t.Errorf("got %+v", c.Points[0])
	}
}
