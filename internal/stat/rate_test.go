package stat

import (
	"slices"
	"testing"
)

// Laney 2002 for the formula. Dyed cloth is Montgomery's; σ_z and limits were
// computed with a separate program.
func TestLaneyU(t *testing.T) {
	cloth := []float64{14, 12, 20, 11, 7, 10, 21, 16, 19, 23}
	areas := []float64{10, 8, 13, 10, 9.5, 10, 12, 10.5, 12, 12.5}
	c, sigma := LaneyU(cloth, areas, 0)
	near(t, "cloth: sigma", sigma, .678796, 6)
	near(t, "cloth: lower", c.Points[0].Lower, .655007, 6)
	near(t, "cloth: upper", c.Points[0].Upper, 2.191504, 6)
	near(t, "cloth: lower of 10", c.Points[9].Lower, .736113, 6)
	// Rare events: the Poisson is the binomial's limit, and so u' is that of p'.
	var many []float64
	for _, n := range orderSizes {
		many = append(many, 1e6*n)
	}
	_, u := LaneyU(orders, many, 0)
	_, p := LaneyP(orders, many, 0)
	near(t, "rare: sigma as in p'", u, p, 6)
	// Months that differ by more than chance: the plain chart signals, the
	// widened one does not.
	x := []float64{300, 420, 225, 363, 280, 378, 245, 403}
	n := []float64{1000, 1200, 900, 1100, 1000, 1050, 980, 1150}
	c, sigma = LaneyU(x, n, 0)
	near(t, "spread: sigma", sigma, 4.137674, 6)
	if out := beyond(c); out != nil {
		t.Errorf("spread: beyond %v, want none", out)
	}
	if out := beyond(UChart(x, n, 0)); !slices.Equal(out, []int{3, 7}) {
		t.Errorf("spread, plain: beyond %v, want 3 and 7", out)
	}
	if _, sigma := LaneyU([]float64{0, 0}, []float64{5, 5}, 0); sigma != 1 {
		t.Errorf("no events: sigma %g, want 1", sigma)
	}
}

// Exact limits as printed in tables after Garwood 1936 (Pearson and Hartley,
// Biometrika Tables for Statisticians, table 40; from memory).
func TestPoisson(t *testing.T) {
	for _, c := range []struct {
		count     int
		low, high float64
	}{{0, 0, 3.689}, {1, 0.0253, 5.572}, {10, 4.795, 18.39}, {20, 12.22, 30.89}, {50, 37.11, 65.92}} {
		i := Poisson(c.count)
		near(t, "low", i.Low, c.low, 2)
		near(t, "high", i.High, c.high, 2)
	}
}
