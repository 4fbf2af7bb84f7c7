package figure

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// byMonth makes a figure of n of 1,000 a month from January 2025 on.
func byMonth(n ...int64) *Figure {
	f := &Figure{Definition: &Definition{Name: "t", Points: []Column{{Name: "month", Kind: Month}, {Name: "n", Kind: Count}, {Name: "of", Kind: Count}}}, Values: map[string]Cell{}}
	for i, x := range n {
		f.Rows = append(f.Rows, []Cell{{Value: fmt.Sprintf("%d-%02d", 2025+i/12, 1+i%12)}, {Value: x}, {Value: int64(1000)}})
	}
	return f
}

// stepped is a line of 50 % falling by 0.1 points a month, with a step of 10
// points at month cut (0-based) and 0.5 points a month from there on.
func stepped(months, cut int) []int64 {
	var n []int64
	for i := range months {
		x := 500 - 1*i
		if i >= cut {
			x += 100 + 5*(i-cut)
		}
		n = append(n, int64(x))
	}
	return n
}

func TestBeforeAfterFindsTheStep(t *testing.T) {
	f := byMonth(stepped(24, 12)...)
	// A hidden month is no point, and its number is in no column.
	f.Rows[3][1] = Cell{Hidden: true}
	fit, why := f.AddBeforeAfter("month", "n", "of", []Intervention{{Month: "2026-01", Name: "Teaching"}}, Format{})
	if fit == nil {
		t.Fatal(why)
	}
	for name, wanted := range map[string]string{"name": "Teaching", "since": "Jan 2026", "before": "11", "after": "12", "level": "10.0", "slope": "0.50"} {
		if got := f.Values[name].Value; got != wanted {
			t.Errorf("%s is %v, wanted %s", name, got, wanted)
		}
	}
	if !strings.HasPrefix(f.Values["verdict"].Value.(string), "Both intervals leave out 0") {
		t.Errorf("verdict %v", f.Values["verdict"].Value)
	}
	fitted, without := f.Index("fitted"), f.Index("without")
	if f.Rows[3][fitted].Value != nil || f.Rows[11][without].Value != nil {
		t.Error("a hidden month has a fitted value, or a month before the step one without it")
	}
	// The last month: 50 − 2.3 without, and 10 + 5.5 more with the change.
	if got := f.Rows[23][without].Value.(float64); math.Abs(got-0.477) > 1e-9 {
		t.Errorf("without the change %v, wanted 0.477", got)
	}
	if got := f.Rows[23][fitted].Value.(float64); math.Abs(got-0.632) > 1e-9 {
		t.Errorf("fitted %v, wanted 0.632", got)
	}
}

func TestBeforeAfterClaimsNothingWithoutEightMonths(t *testing.T) {
	for name, c := range map[string]struct {
		interventions []Intervention
		wanted        string
	}{
		"too late":       {[]Intervention{{Month: "2026-06", Name: "Poster"}}, "in 17 months, and from it on in 7,"},
		"too early":      {[]Intervention{{Month: "2025-08", Name: "Poster"}}, "in 7 months, and from it on in 17,"},
		"after the end":  {[]Intervention{{Month: "2027-06", Name: "Poster"}}, "in 24 months, and from it on in 0,"},
		"none":           {nil, "states no intervention"},
		"two in the way": {[]Intervention{{Month: "2025-11", Name: "Poster"}, {Month: "2026-05", Name: "Letter"}}, "“Letter” (May 2026) the share is known and not hidden in 6 months, and from it on in 8,"},
	} {
		f := byMonth(stepped(24, 12)...)
		fit, why := f.AddBeforeAfter("month", "n", "of", c.interventions, Format{})
		if fit != nil || !strings.Contains(why, c.wanted) {
			t.Errorf("%s: %v %q, wanted %q", name, fit, why, c.wanted)
		}
		if f.Index("fitted") >= 0 {
			t.Errorf("%s: lines were added", name)
		}
	}
}

// The latest intervention that can be judged is, and others end its months.
func TestBeforeAfterEndsAtOtherInterventions(t *testing.T) {
	f := byMonth(stepped(30, 12)...)
	fit, why := f.AddBeforeAfter("month", "n", "of", []Intervention{{Month: "2027-01", Name: "Letter"}, {Month: "2026-01", Name: "Teaching"}, {Month: "2025-03", Name: "Poster"}}, Format{})
	if fit == nil || fit.Name != "Teaching" || fit.Before != 10 || fit.After != 12 {
		t.Fatalf("%+v %s", fit, why)
	}
}

func TestNoisyMonthsAreNoChange(t *testing.T) {
	f := byMonth(500, 480, 520, 510, 490, 505, 495, 515, 485, 500, 510, 490, 500, 485, 515, 495, 505, 490, 510, 520, 480, 500, 505, 495)
	if fit, why := f.AddBeforeAfter("month", "n", "of", []Intervention{{Month: "2026-01", Name: "Teaching"}}, Format{}); fit == nil || fit.verdict() != "verdict_none" {
		t.Errorf("%v %s", fit, why)
	}
}

func TestRateAndItsInterval(t *testing.T) {
	f := byMonth(30)
	f.Answer = []Column{{Name: "n", Kind: Units}, {Name: "of", Kind: Units}}
	f.Values = map[string]Cell{"n": {Value: int64(10)}, "of": {Value: int64(200)}}
	p := Panel{Chart: "rate", Per: 100, Y: []string{"n", "of"}, Says: "{rate} ({interval})"}
	// Exact limits of a count of 10 are 4.795 and 18.39 (Pearson and Hartley,
	// table 40, from memory), of 200 units half of that for each 100.
	if got := f.Say(p, Format{}, When{}); got != "5.0 (2.4 to 9.2)" {
		t.Errorf("said %q", got)
	}
	f.AddRate("n", "of", 100, "Rate")
	if got := f.Rows[0][3].Value; got != 3.0 {
		t.Errorf("rate %v of 30 in 1,000, wanted 3 for each 100", got)
	}
}

func TestBetweenWantsEightGaps(t *testing.T) {
	f := &Figure{Definition: &Definition{Name: "t", Points: []Column{{Name: "event", Kind: Label}, {Name: "days", Kind: Number}}}}
	// The invented times of stat's own t chart: centre 10.196, upper limit 133.31 with 3/1.128.
	for _, days := range []float64{6.2, 14.5, 3.1, 25, 9.8, 18.4, 1.2} {
		f.Rows = append(f.Rows, []Cell{{Value: "x"}, {Value: days}})
	}
	if f.Between("days", 8, Format{}) != nil {
		t.Error("seven gaps made limits")
	}
	for _, days := range []float64{30.6, 11.1, 7.7} {
		f.Rows = append(f.Rows, []Cell{{Value: "x"}, {Value: days}})
	}
	l := f.Between("days", 8, Format{})
	if l == nil || math.Abs(l.Centre[0]-10.196) > 0.001 || math.Abs(l.Upper[0]-133.31) > 0.01 || l.Lower[0] != 0 {
		t.Errorf("%+v", l)
	}
}

// TestARunIsToldOnce: of a run of months the last tells what all of them do; a run
// that is not gone on with, and a month beyond its limit, tell it themselves.
func TestARunIsToldOnce(t *testing.T) {
	n := []int64{500, 480, 520, 500, 480, 520, 500, 480, 520, 500, 480, 520}
	for range 10 {
		n = append(n, 530)
	}
	n = append(n, 470, 700)
	f := byMonth(n...)
	f.SetBaseline("month", "n", "of", Baseline{Months: 12})
	l, _ := f.Control("n", "of", 0, 8, Format{})
	var told, runs []string
	for r, words := range l.Words {
		if words != "" {
			runs = append(runs, words)
		}
		if words != "" && !l.GoesOn(r) {
			told = append(told, words)
		}
	}
	if len(runs) < 4 || len(told) != 2 || !strings.HasSuffix(told[0], "in a row above the centre line") || told[0] != runs[len(runs)-2] || told[1] != "above its limit" {
		t.Errorf("of the signals %q these are told: %q", runs, told)
	}
}
