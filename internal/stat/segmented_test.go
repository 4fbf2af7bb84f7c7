package stat

import (
	"math"
	"testing"
)

var nan = math.NaN()

// Cigarette packs a head in California 1970 to 2000, tobacco law in 1989:
// Linden 2015, Stata J 15:480, whose Newey–West errors at lag 1 these are (from
// memory); coefficients as printed in public scripts on the same data.
var cigarettes = []float64{123.0, 121.0, 123.5, 124.4, 126.7, 127.1, 128.0, 126.4, 126.1, 121.9, 120.2, 118.6, 115.4, 110.8, 104.8,
	102.8, 99.7, 97.5, 90.1, 82.4, 77.8, 68.7, 67.5, 63.4, 58.6, 56.4, 54.5, 53.8, 52.3, 47.2, 41.6}

func TestSegmentCaliforniaCigarettes(t *testing.T) {
	s, err := Segment(cigarettes, 1989-1970, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name              string
		got               Coefficient
		value, se, robust float64
	}{
		{"start", s.Start, 132.22579, 2.2866, 4.2531},
		{"slope", s.Slope, -1.77947, 0.2170, 0.3834},
		{"level", s.Level, -20.05810, 3.7471, 4.7244},
		{"slope change", s.SlopeChange, -1.49465, 0.4846, 0.4368},
	} {
		near(t, c.name, c.got.Value, c.value, 5)
		near(t, c.name+" SE", c.got.SE, c.se, 4)
		near(t, c.name+" Newey-West", c.got.NeweyWest, c.robust, 4)
		// Student's t with 27 degrees of freedom: 2.0518 (any printed table).
		near(t, c.name+" interval", (c.got.CI.High-c.got.CI.Low)/2/c.got.NeweyWest, 2.0518, 4)
	}
	near(t, "Durbin-Watson", s.DurbinWatson, 0.5352, 4)
	near(t, "without the law, 2000", s.Counterfactual[30], 78.84, 2)
	near(t, "fitted, 2000", s.Fitted[30], 42.34, 2)
	var mean float64
	for i := 19; i < 31; i++ {
		mean += (cigarettes[i] - s.Counterfactual[i]) / 12
	}
	near(t, "mean effect, printed as -28.3", mean, -28.3, 1)
}

// A series made from its coefficients gives them back.
func TestSegmentOfExactLines(t *testing.T) {
	// y = 20 − 0.1t for t = 1…24; from t = 13 on −4 − 0.2(t−13).
	y := make([]float64, 24)
	for i := range y {
		at := float64(i + 1)
		y[i] = 20 - 0.1*at
		if at >= 13 {
			y[i] += -4 - 0.2*(at-13)
		}
	}
	s, err := Segment(y, 12, 1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "start at t = 0", s.Start.Value-s.Slope.Value, 20, 9)
	near(t, "slope", s.Slope.Value, -0.1, 9)
	near(t, "level", s.Level.Value, -4, 9)
	near(t, "slope change", s.SlopeChange.Value, -0.2, 9)
}

// Points that are not there leave the lines where they are.
func TestSegmentWithGaps(t *testing.T) {
	var at, y []float64
	for i := range 24 {
		if i == 4 || i == 12 || i == 20 {
			continue
		}
		v := 20 - 0.1*float64(i)
		if i >= 12 {
			v += -4 - 0.2*float64(i-12)
		}
		at, y = append(at, float64(i)), append(y, v)
	}
	s, err := SegmentAt(at, y, 12, 1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "start", s.Start.Value, 20, 9)
	near(t, "slope", s.Slope.Value, -0.1, 9)
	near(t, "level", s.Level.Value, -4, 9)
	near(t, "slope change", s.SlopeChange.Value, -0.2, 9)
	near(t, "without the change, at the end", s.Counterfactual[20], 20-0.1*23, 9)
	if _, err := SegmentAt(at, y, 2, 1); err == nil {
		t.Error("two points before the change were enough")
	}
	if _, err := SegmentAt(at[1:], y, 12, 1); err == nil {
		t.Error("times and points of unequal number were taken")
	}
}

func TestRegressionRefuses(t *testing.T) {
	if _, err := Segment(cigarettes, 2, 1); err == nil {
		t.Error("two points before the change were enough")
	}
	if _, err := Segment(cigarettes, 29, 1); err == nil {
		t.Error("two points after the change were enough")
	}
	line := [][]float64{{1, 1}, {1, 2}, {1, 3}}
	for name, f := range map[string]func() error{
		"lengths": func() error { _, err := Regress([]float64{1, 2}, line, 0); return err },
		"few":     func() error { _, err := Regress([]float64{1, 2}, line[:2], 0); return err },
		"lag":     func() error { _, err := Regress([]float64{1, 2, 4}, line, 3); return err },
		"ragged":  func() error { _, err := Regress([]float64{1, 2, 4}, [][]float64{{1, 1}, {1}, {1, 3}}, 0); return err },
		"collinear": func() error {
			_, err := Regress([]float64{1, 2, 4}, [][]float64{{1, 2}, {1, 2}, {1, 2}}, 0)
			return err
		},
		"not number": func() error { _, err := Regress([]float64{1, nan, 4}, line, 0); return err },
	} {
		if f() == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

// Newey and West 1994's rule: 100 points give 4; 30 give 3.06, so 3.
func TestNeweyWestLag(t *testing.T) {
	for n, want := range map[int]int{100: 4, 30: 3, 12: 2} {
		if got := NeweyWestLag(n); got != want {
			t.Errorf("%d points: lag %d, want %d", n, got, want)
		}
	}
}
