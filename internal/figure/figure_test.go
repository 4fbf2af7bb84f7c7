package figure

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thawline/dashboards"
	"thawline/queries"
)

func TestCommitteeDashboardFitsItsFigures(t *testing.T) {
	defined, err := Load(queries.FS, "figures", "queries/figures")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := LoadDashboard(dashboards.FS, "committee.yaml", defined); err != nil {
		t.Fatal(err)
	}
}

func TestHeaderFaultsHaveTheirPlace(t *testing.T) {
	good := "-- a: Why?\n--\n-- reads:     episodes\n-- points:    x: label; X\n--            n: count; N\n-- answer:    n: count; N\nSELECT 1\n-- answer\nSELECT 2\n"
	if _, err := Parse("a.sql", good); err != nil {
		t.Fatal(err)
	}
	for wanted, text := range map[string]string{
		"a.sql:1":        strings.Replace(good, "-- a: Why?", "-- b: Why?", 1),
		"a.sql:4":        strings.Replace(good, "x: label; X", "x: labels; X", 1),
		"no line":        strings.Replace(good, "\n-- answer\n", "\n", 1),
		"-- reads":       strings.Replace(good, "-- reads:     episodes\n", "", 1),
		"no count":       strings.Replace(good, "x: label; X", "x: share of q; X", 1),
		"a.sql:3":        strings.Replace(good, "-- reads:     episodes", "-- reeds:     episodes", 1),
		"stands twice":   strings.Replace(good, "-- points: ", "-- reads:     x\n-- points: ", 1),
		`"no" or no suc`: strings.Replace(good, "-- points: ", "-- adds up:   yes\n-- points: ", 1),
	} {
		if _, err := Parse("a.sql", text); err == nil || !strings.Contains(err.Error(), wanted) {
			t.Errorf("wanted an error with %q, got %v", wanted, err)
		}
	}
}

// table makes a figure of counts, as a query would give it.
func table(values [][]int64) *Figure {
	d := &Definition{Name: "t"}
	for range values[0] {
		d.Points = append(d.Points, Column{Name: string(rune('a' + len(d.Points))), Kind: Count})
	}
	f := &Figure{Definition: d, Values: map[string]Cell{}}
	for _, row := range values {
		var cells []Cell
		for _, v := range row {
			cells = append(cells, Cell{Value: v})
		}
		f.Rows = append(f.Rows, cells)
	}
	return f
}

// A reader who knows every total of rows and of columns must be left with
// more than one table that fits, for each cell that is hidden for its size.
func TestNoSmallCountIsShownOrStandsAlone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const small = 5
		rows, columns := rapid.IntRange(1, 6).Draw(t, "rows"), rapid.IntRange(1, 6).Draw(t, "columns")
		values := make([][]int64, rows)
		for r := range values {
			for range columns {
				values[r] = append(values[r], rapid.Int64Range(0, 12).Draw(t, "n"))
			}
		}
		f := table(values)
		f.Disclose(small)
		line := func(cells []Cell, at func(i int) int64) {
			hidden, sum, shown := 0, int64(0), 0
			for i, c := range cells {
				if c.Hidden {
					hidden++
					sum += at(i)
					if c.Value != nil {
						t.Fatal("a hidden cell keeps its value")
					}
					continue
				}
				shown++
				if n := c.Value.(int64); n > 0 && n < small {
					t.Fatalf("%d is shown", n)
				}
			}
			if hidden > 0 && shown > 0 && (hidden < 2 || sum < small) {
				t.Fatalf("%d hidden cells that sum to %d stand beside shown ones", hidden, sum)
			}
		}
		for r := range f.Rows {
			line(f.Rows[r], func(i int) int64 { return values[r][i] })
		}
		for c := range columns {
			var cells []Cell
			for r := range f.Rows {
				cells = append(cells, f.Rows[r][c])
			}
			line(cells, func(i int) int64 { return values[i][c] })
		}
	})
}

func TestAnswerHidesWhatTheTableHides(t *testing.T) {
	f := table([][]int64{{38, 40}, {20, 30}, {3, 9}})
	f.Points[0].Name, f.Points[1].Name = "n", "of"
	f.Points = append(f.Points, Column{Name: "share", Kind: Share, From: []string{"n", "of"}})
	for r := range f.Rows {
		f.Rows[r] = append(f.Rows[r], Cell{Value: 0.5})
	}
	f.Answer = []Column{{Name: "n", Kind: Count}, {Name: "of", Kind: Count}}
	f.Values = map[string]Cell{"n": {Value: int64(38)}, "of": {Value: int64(40)}}
	f.Disclose(5)
	if !f.Rows[0][0].Hidden || !f.Rows[0][2].Hidden || !f.Values["n"].Hidden {
		t.Errorf("38 of 40 tells of two: %+v %+v", f.Rows[0], f.Values)
	}
}

func TestNumbersAsReadersWriteThem(t *testing.T) {
	point, comma := Format{}, Format{Comma: true}
	for _, c := range []struct{ got, wanted string }{
		{point.Whole(1234567), "1,234,567"}, {comma.Whole(1234), "1.234"}, {point.Number(9.50, 2), "9.5"}, {comma.Number(9.5, 2), "9,5"},
		{point.Number(2460, 0), "2,460"}, {comma.Number(1234.5, 1), "1.234,5"}, {point.Number(-0.004, 2), "0"},
		{point.Number(-0.25, 2), "−0.25"}, {point.Percent(0.417), "42 %"}, {point.Percent(0.0312), "3.1 %"}, {point.Month("2026-10"), "Oct 2026"}, {point.Month("?"), "?"},
	} {
		if c.got != c.wanted {
			t.Errorf("%q, wanted %q", c.got, c.wanted)
		}
	}
}
