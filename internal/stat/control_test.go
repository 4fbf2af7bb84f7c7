package stat

import (
	"math"
	"slices"
	"testing"
)

func constant(v float64, n int) []float64 { return slices.Repeat([]float64{v}, n) }

// beyond gives the 1-based points outside their limits.
func beyond(c Chart) []int {
	var out []int
	for i, s := range c.Signals(0) {
		if s.Beyond {
			out = append(out, i+1)
		}
	}
	return out
}

// Montgomery, Introduction to SQC, orange-juice cans: 30 samples of 50; the
// NIST/SEMATECH e-Handbook 6.3.3.2 prints the same numbers as wafers.
var cans = []float64{12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6}

func TestPChartOrangeJuiceCans(t *testing.T) {
	c := PChart(cans, constant(50, 30), 0)
	near(t, "centre", c.Centre, .2313, 4)
	near(t, "lower", c.Points[0].Lower, .0524, 4)
	near(t, "upper", c.Points[0].Upper, .4102, 4)
	if out := beyond(c); !slices.Equal(out, []int{15, 23}) {
		t.Errorf("beyond: %v, want 15 and 23", out)
	}
	// Without the two samples with a known cause (Montgomery, same example).
	rest := slices.Concat(cans[:14], cans[15:22], cans[23:])
	c = PChart(rest, constant(50, 28), 0)
	near(t, "centre", c.Centre, .2150, 4)
	near(t, "lower", c.Points[0].Lower, .0407, 4)
	near(t, "upper", c.Points[0].Upper, .3893, 4)
	if out := beyond(c); !slices.Equal(out, []int{20}) {
		t.Errorf("beyond: %v, want sample 21, now the 20th", out)
	}
}

// Montgomery, Introduction to SQC, purchase orders: own limits for each size.
var (
	orderSizes = []float64{100, 80, 80, 100, 110, 110, 100, 100, 90, 90, 110, 120, 120, 120, 110, 80, 80, 80, 90, 100, 100, 100, 100, 90, 90}
	orders     = []float64{12, 8, 6, 9, 10, 12, 11, 16, 10, 6, 20, 15, 9, 8, 6, 8, 10, 7, 5, 8, 5, 8, 10, 6, 9}
)

func TestPChartPurchaseOrders(t *testing.T) {
	c := PChart(orders, orderSizes, 0)
	near(t, "centre", c.Centre, 234.0/2450, 9)
	limits := map[float64]Interval{80: {0, .1941}, 90: {.0026, .1885}, 100: {.0073, .1837}, 110: {.0114, .1796}, 120: {.0150, .1760}}
	for i, p := range c.Points {
		near(t, "lower", p.Lower, limits[orderSizes[i]].Low, 4)
		near(t, "upper", p.Upper, limits[orderSizes[i]].High, 4)
	}
	if out := beyond(c); !slices.Equal(out, []int{11}) {
		t.Errorf("beyond: %v, want 11", out)
	}
}

func TestBaselineAloneMakesTheCentre(t *testing.T) {
	counts, sizes := []float64{1, 3, 9, 9}, []float64{10, 10, 10, 0}
	c := PChart(counts, sizes, 2)
	if c.Centre != 0.2 {
		t.Errorf("centre %g, want 4/20", c.Centre)
	}
	if p := c.Points[3]; !math.IsNaN(p.Value) || !math.IsNaN(p.Upper) {
		t.Errorf("a point without a size: %+v", p)
	}
	if out := beyond(c); !slices.Equal(out, []int{3}) {
		t.Errorf("beyond: %v, want 3", out)
	}
}

// Laney 2002 for the formula. The first two series are Montgomery's, the third
// invented; σ_z computed with a separate program.
func TestLaneyP(t *testing.T) {
	c, sigma := LaneyP(orders, orderSizes, 0)
	near(t, "orders: sigma", sigma, .96567, 5)
	near(t, "orders: lower", c.Points[0].Lower, .01036, 5)
	near(t, "orders: upper", c.Points[0].Upper, .18066, 5)
	near(t, "orders: upper of 11", c.Points[10].Upper, .17670, 5)
	c, sigma = LaneyP(cans, constant(50, 30), 0)
	near(t, "cans: sigma", sigma, 1.66087, 5)
	near(t, "cans: upper", c.Points[0].Upper, .52847, 5)
	if out := beyond(c); c.Points[0].Lower != 0 || out != nil {
		t.Errorf("cans: lower %g, beyond %v, want 0 and none", c.Points[0].Lower, out)
	}
	x := []float64{300, 420, 225, 363, 280, 378, 245, 403}
	n := []float64{1000, 1200, 900, 1100, 1000, 1050, 980, 1150}
	c, sigma = LaneyP(x, n, 0)
	near(t, "spread: sigma", sigma, 4.98817, 5)
	near(t, "spread: lower", c.Points[0].Lower, .0927, 4)
	near(t, "spread: upper", c.Points[0].Upper, .5312, 4)
	if out := beyond(c); out != nil {
		t.Errorf("spread: beyond %v, want none", out)
	}
	if out := beyond(PChart(x, n, 0)); !slices.Equal(out, []int{3, 6, 7}) {
		t.Errorf("spread, plain: beyond %v, want 3, 6, 7", out)
	}
	for _, same := range [][]float64{{0, 0, 0}, {10, 10, 10}} {
		if c, sigma := LaneyP(same, constant(10, 3), 0); sigma != 1 || beyond(c) != nil {
			t.Errorf("%v: sigma %g, want 1", same, sigma)
		}
	}
}

// Dyed cloth (Montgomery, Introduction to SQC): defects by area, the areas
// fractional. Whole-number areas would give 1.40367.
func TestUChartDyedCloth(t *testing.T) {
	counts := []float64{14, 12, 20, 11, 7, 10, 21, 16, 19, 23}
	areas := []float64{10, 8, 13, 10, 9.5, 10, 12, 10.5, 12, 12.5}
	c := UChart(counts, areas, 0)
	near(t, "centre", c.Centre, 1.423256, 6)
	limits := map[float64]Interval{10: {.2915, 2.5550}, 8: {.1579, 2.6886}, 13: {.4306, 2.4159}, 9.5: {.2621, 2.5844},
		12: {.3901, 2.4564}, 10.5: {.3187, 2.5278}, 12.5: {.4110, 2.4356}}
	for i, p := range c.Points {
		near(t, "lower", p.Lower, limits[areas[i]].Low, 4)
		near(t, "upper", p.Upper, limits[areas[i]].High, 4)
	}
	if out := beyond(c); out != nil {
		t.Errorf("beyond: %v, want none", out)
	}
}

// Circuit boards (Montgomery, Introduction to SQC, c chart): a u chart whose
// exposures are all one.
func TestUChartOfOneIsACChart(t *testing.T) {
	c := UChart([]float64{21, 24, 16, 12, 15, 5, 28, 20, 31, 25, 20, 24, 16, 19, 10, 17, 13, 22, 18, 39, 30, 24, 16, 19, 17, 15}, constant(1, 26), 0)
	near(t, "centre", c.Centre, 19.8462, 4)
	near(t, "lower", c.Points[0].Lower, 6.4814, 4)
	near(t, "upper", c.Points[0].Upper, 33.2109, 4)
	if out := beyond(c); !slices.Equal(out, []int{6, 20}) {
		t.Errorf("beyond: %v, want 6 and 20", out)
	}
}

// NIST/SEMATECH e-Handbook 6.3.2.2, flow rate.
func TestXmRFlowRate(t *testing.T) {
	c := XmR([]float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}, 0)
	near(t, "centre", c.Centre, 50.81, 2)
	near(t, "lower", c.Points[0].Lower, 45.8159, 4)
	near(t, "upper", c.Points[0].Upper, 55.8041, 4)
	if c := XmR([]float64{3}, 0); !math.IsNaN(c.Points[0].Upper) {
		t.Error("one value has no moving range")
	}
}

// chart makes a chart of z values about 0 with limits of 3.
func chart(values ...float64) Chart {
	c := Chart{}
	for _, v := range values {
		c.Points = append(c.Points, Point{v, -3, 3})
	}
	return c
}

func firstRun(c Chart, length int) int {
	return 1 + slices.IndexFunc(c.Signals(length), func(s Signal) bool { return s.Run })
}

// Rules of Western Electric 1956 (8 in a row) and Nelson 1984 (9 in a row) on
// invented series.
func TestSignals(t *testing.T) {
	if out := beyond(chart(0.2, -0.5, 1.1, 3.4, -0.3, 0.6, -1.2, 0.4)); !slices.Equal(out, []int{4}) {
		t.Errorf("beyond: %v, want 4", out)
	}
	if out := beyond(chart(3, -3)); out != nil {
		t.Errorf("beyond: %v, but on a limit is inside", out)
	}
	run := chart(-0.4, 0.3, 0.6, 0.2, 0.9, 0.5, 0.1, 0.7, 0.4, 0.8, -0.2)
	for length, want := range map[int]int{7: 8, 8: 9, 9: 10, 10: 0, 0: 0} {
		if got := firstRun(run, length); got != want {
			t.Errorf("run of %d: first at %d, want %d", length, got, want)
		}
	}
	if s := run.Signals(8)[10]; s.Run || s.Length != 1 {
		t.Errorf("after crossing: %+v", s)
	}
	// On the centre or without a value: neither counted nor breaking.
	if got := firstRun(chart(1, 1, 0, 1, math.NaN(), 1), 4); got != 6 {
		t.Errorf("first at %d, want 6", got)
	}
	if got := firstRun(chart(1, 1, 0, -1, 1, 1), 4); got != 0 {
		t.Errorf("first at %d, want none", got)
	}
}
