package figure

import (
	"slices"
	"strings"
	"testing"
)

// scattered is 24 months about 50 %, and then rises to 60 %.
func scattered(months int) []int64 {
	var n []int64
	for i := range months {
		x := []int64{500, 480, 520, 490, 510, 505}[i%6]
		if i >= 24 {
			x += 30
		}
		n = append(n, x)
	}
	return n
}

// TestAMonthIsJudgedAlikeInEveryPack draws the last 24, 30 and 36 months of the same
// store: the centre, the limits and the signals of a month hang on the store alone.
func TestAMonthIsJudgedAlikeInEveryPack(t *testing.T) {
	var lines []string
	for _, drawn := range []int{24, 30, 36} {
		f := byMonth(scattered(36)...)
		f.SetBaseline("month", "n", "of", Baseline{Months: 12})
		l, ok := f.Control("n", "of", 0, 8, Format{})
		if !ok {
			t.Fatal("no limits")
		}
		f.AddLimits(l, Format{})
		f.DropRows(36 - drawn)
		l = l.DropRows(36 - drawn)
		if len(f.Rows) != drawn || len(l.Words) != drawn {
			t.Fatalf("%d rows, %d words, wanted %d", len(f.Rows), len(l.Words), drawn)
		}
		last := f.Rows[drawn-1]
		if l.Centre[drawn-1] != 0.50083333333333335 || l.Words[drawn-1] != last[len(last)-1].Value {
			t.Errorf("centre %v, %q, in the table %v", l.Centre[drawn-1], l.Words[drawn-1], last)
		}
		lines = append(lines, l.Words[drawn-1])
	}
	if slices.Sort(lines); lines[0] != lines[2] || !strings.HasPrefix(lines[0], "14 in a row above") {
		t.Errorf("the same month is told as %q", lines)
	}
}

// TestABaselineIsOfFullMonths leaves out the store's first, partial month, a month
// without any, and the one that is not over; with fewer than it takes nothing is claimed.
func TestABaselineIsOfFullMonths(t *testing.T) {
	full := func(m string) bool { return m > "2025-01" && m < "2026-03" }
	f := byMonth(scattered(15)...)
	f.Rows[4][1], f.Rows[4][2] = Cell{Value: int64(0)}, Cell{Value: int64(0)}
	f.SetBaseline("month", "n", "of", Baseline{Months: 12, Full: full})
	l, ok := f.Control("n", "of", 0, 8, Format{})
	if part := l.Parts[0]; !ok || part.First != "2025-02" || part.Last != "2026-02" || part.Months != 12 || part.Of != 12_000 || part.Shown != 12 {
		t.Errorf("%v %+v", ok, part)
	}
	f = byMonth(scattered(15)...)
	f.SetBaseline("month", "n", "of", Baseline{Months: 14, Full: full})
	if l, ok := f.Control("n", "of", 0, 8, Format{}); ok || l.Parts[0].Months != 13 || l.Parts[0].Wanted != 14 || slices.Contains(l.Signal, true) {
		t.Errorf("of 14 months 13 are there: %v %+v", ok, l.Parts)
	}
}

// TestAStatedSpanIsTheBaseline goes by no other month, and by none before it is over.
func TestAStatedSpanIsTheBaseline(t *testing.T) {
	b := Baseline{Months: 12, From: "2025-07", To: "2026-03"}
	f := byMonth(scattered(20)...)
	f.SetBaseline("month", "n", "of", b)
	l, ok := f.Control("n", "of", 0, 8, Format{})
	if part := l.Parts[0]; !ok || part.First != "2025-07" || part.Last != "2026-03" || part.Months != 9 || !part.Stated {
		t.Errorf("%v %+v", ok, part)
	}
	f = byMonth(scattered(14)...)
	f.SetBaseline("month", "n", "of", b)
	if _, ok := f.Control("n", "of", 0, 8, Format{}); ok {
		t.Error("a span that goes on beyond the records made limits")
	}
}

// TestNothingIsComparedAcrossABreak: the yardstick changed in January 2027, and so did
// the share with it: no run and no limit reaches over that month, and no verdict either.
func TestNothingIsComparedAcrossABreak(t *testing.T) {
	breaks := []Break{{Month: "2027-02", Mixed: "2027-01", Words: "dose_low 10 → 15"}}
	f := byMonth(scattered(36)...)
	f.SetBaseline("month", "n", "of", Baseline{Months: 12, Breaks: breaks})
	l, ok := f.Control("n", "of", 0, 8, Format{})
	if !ok || !l.Parts[0].Drawn || l.Parts[1].Drawn || l.Parts[1].Months != 11 || slices.Contains(l.Signal, true) {
		t.Errorf("%v %+v %q", ok, l.Parts, l.Words)
	}
	if at := l.Centre[23]; at != l.Centre[0] || l.Centre[24] == l.Centre[24] || l.Centre[25] == l.Centre[25] {
		t.Errorf("centres %v", l.Centre)
	}
	for month, months := range map[string][2]int{"2026-06": {12, 6}, "2027-01": {0, 0}, "2027-06": {4, 6}} {
		if c := f.Since("month", "n", "of", month, l); c.Before.Months != months[0] || c.After.Months != months[1] {
			t.Errorf("%s: %+v", month, c)
		}
	}
	if fit, why := f.Copy().AddBeforeAfter("month", "n", "of", []Intervention{{Month: "2027-01", Name: "x"}}, Format{}); fit != nil || !strings.Contains(why, "in 0 months") {
		t.Errorf("%+v %s", fit, why)
	}
	if fit, why := f.Copy().AddBeforeAfter("month", "n", "of", []Intervention{{Month: "2026-03", Name: "x"}}, Format{}); fit == nil || fit.Before != 14 || fit.After != 10 {
		t.Errorf("%+v %s", fit, why)
	}
	// A year more, and the months since have limits of their own.
	f = byMonth(scattered(40)...)
	f.SetBaseline("month", "n", "of", Baseline{Months: 12, Breaks: breaks})
	if l, _ := f.Control("n", "of", 0, 8, Format{}); !l.Parts[1].Drawn || l.Parts[1].First != "2027-02" || l.Centre[39] <= l.Centre[0] {
		t.Errorf("%+v", l.Parts)
	}
}

// TestARunThatPassesAHiddenMonthSaysSo: the hidden month neither counts nor breaks it.
func TestARunThatPassesAHiddenMonthSaysSo(t *testing.T) {
	f := byMonth(scattered(34)...)
	f.SetBaseline("month", "n", "of", Baseline{Months: 12})
	f.Rows[26][1], f.Rows[20][1] = Cell{Hidden: true}, Cell{Hidden: true}
	l, _ := f.Control("n", "of", 0, 8, Format{})
	if wanted := "11 in a row above the centre line, 1 hidden month between them left out"; l.Words[33] != wanted {
		t.Errorf("%q, wanted %q", l.Words[33], wanted)
	}
}

// TestABaselineIsDisclosedAsASum: months of the baseline are small and hidden, and
// the centre line is still that of all; one or two hidden months it would tell of, and
// then it is that of the others.
func TestABaselineIsDisclosedAsASum(t *testing.T) {
	for _, c := range []struct{ small, shown, months int }{{0, 14, 12}, {1, 13, 11}, {2, 12, 10}, {4, 10, 12}} {
		var n []int64
		for i := range 14 {
			n = append(n, 20+int64(i%5))
		}
		for i := range c.small {
			n[i] = 3 + int64(i%2)
		}
		f := byMonth(n...)
		f.SetBaseline("month", "n", "of", Baseline{Months: 12})
		f.means = []meaning{{columns: []string{"n"}, when: "month"}, {columns: []string{"of"}, when: "month", in: []condition{}}}
		f.Definition.means[1].alone = "it is the test's"
		atoms := &Atoms{spans: Spans{"2025-01", "2026-02", "2025-01", "2025-01"}, columns: []attribute{{column: "month"}}, parts: map[string]part{}}
		for i, row := range f.Rows {
			atoms.values, atoms.sizes = append(atoms.values, []string{row[0].Value.(string)}), append(atoms.sizes, n[i])
		}
		atoms.parts[""] = part{0, len(n)}
		atoms.number()
		Together([]*Figure{f}, atoms, 5)
		l, ok := f.Control("n", "of", 0, 8, Format{})
		shown := 0
		for _, row := range f.Rows {
			if !row[1].Hidden {
				shown++
			}
		}
		if !ok || shown != c.shown || l.Parts[0].Shown != c.months {
			t.Errorf("%d small months: %v, %d shown, wanted %d; %+v", c.small, ok, shown, c.shown, l.Parts[0])
		}
	}
}

// TestInterventionsOfOneMonthAreOne: their effects cannot be told apart.
func TestInterventionsOfOneMonthAreOne(t *testing.T) {
	f := byMonth(stepped(24, 12)...)
	fit, why := f.AddBeforeAfter("month", "n", "of", []Intervention{{Month: "2026-01", Name: "Teaching"}, {Month: "2026-01", Name: "Porter"}}, Format{})
	if fit == nil || fit.Name != "Teaching; Porter" || fit.Before != 12 || fit.After != 12 {
		t.Errorf("%+v %s", fit, why)
	}
}

// TestOneMonthMakesNoVerdict: the share rises by one month that lies beyond its limit,
// which is named, and so is what would be said without it.
func TestOneMonthMakesNoVerdict(t *testing.T) {
	f := byMonth(scattered(24)...)
	f.Rows[20][1] = Cell{Value: int64(950)}
	f.SetBaseline("month", "n", "of", Baseline{Months: 12})
	l, _ := f.Control("n", "of", 0, 8, Format{})
	c := f.Since("month", "n", "of", "2026-01", l)
	if c.Moved != Rose || !slices.Equal(c.Beyond, []string{"2026-09"}) || c.Without == nil || c.Without.Month != "2026-09" || c.Without.Moved != NotMoved {
		t.Errorf("%+v %+v", c, c.Without)
	}
}
