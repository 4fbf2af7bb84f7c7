package chart

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"thawline/internal/figure"
)

// table makes a figure of a label and columns of numbers.
func table(labels []string, kind figure.Kind, columns map[string][]any) (*figure.Figure, []string) {
	f := &figure.Figure{Definition: &figure.Definition{Name: "t", Points: []figure.Column{{Name: "x", Kind: figure.Label, Title: "X"}}}}
	var names []string
	for _, name := range []string{"a", "b", "c"} {
		if columns[name] != nil {
			names = append(names, name)
			f.Points = append(f.Points, figure.Column{Name: name, Kind: kind, Title: "Column " + name})
		}
	}
	for r, label := range labels {
		row := []figure.Cell{{Value: label}}
		for _, name := range names {
			v := columns[name][r]
			row = append(row, figure.Cell{Value: v, Hidden: v == "hidden"})
			if v == "hidden" {
				row[len(row)-1].Value = nil
			}
		}
		f.Rows = append(f.Rows, row)
	}
	return f, names
}

// drawnAs draws the figure and returns the texts of the drawing, a line each, and
// the drawing itself.
func drawnAs(t *testing.T, f *figure.Figure, p figure.Panel, look Look) string {
	t.Helper()
	p.Figure, p.X = "t", "x"
	r, err := one()
	if err != nil {
		t.Fatal(err)
	}
	svg, err := drawnBy(r, f, p, look)
	if err != nil {
		t.Fatal(err)
	}
	return svg
}

func TestNoWordUnderABarIsBroken(t *testing.T) {
	days := []string{"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"}
	f, names := table(days, figure.Units, map[string][]any{"a": {int64(1), int64(2), int64(3), int64(4), int64(5), int64(6), int64(7)}})
	svg := drawnAs(t, f, figure.Panel{Chart: "bars", Y: names}, Look{ID: "a"})
	for _, day := range days {
		if !strings.Contains(svg, ">"+day+"<") {
			t.Errorf("%s does not stand on one line", day)
		}
	}
}

// The names of steps may be longer in another language than the room under their boxes:
// they stand on two lines then, and on one where there is room.
func TestLongNamesUnderBoxes(t *testing.T) {
	for _, c := range []struct {
		names []string
		lines int
	}{
		{[]string{"request to issue", "thaw to issue", "issue to start", "storage to end"}, 4},
		{[]string{"Auftauen bis Ausgabe", "Lagerung bis Ende", "Anfang", "Ende"}, 6},
	} {
		f, names := table(c.names, figure.Number, map[string][]any{"a": {1.0, 2.0, 1.0, 2.0}, "b": {2.0, 3.0, 2.0, 3.0}, "c": {3.0, 4.0, 3.0, 4.0}})
		svg := drawnAs(t, f, figure.Panel{Chart: "quartiles", Y: names}, Look{ID: "a"})
		lines := 0
		for _, m := range regexp.MustCompile(`<text[^>]*text-anchor="middle"[^>]*>([^<]*)</text>`).FindAllStringSubmatch(svg, -1) {
			if strings.ContainsAny(m[1], "abcdefghijklmnopqrstuvwxyz") {
				lines++
			}
		}
		if lines != c.lines {
			t.Errorf("%q stand on %d lines, wanted %d", c.names, lines, c.lines)
		}
	}
}

// A reason of the decision table is a long label: it stands whole beside its bar.
func TestALongLabelStandsWhole(t *testing.T) {
	const label = "minor bleeding: whether it mattered is for the reviewer"
	f, names := table([]string{label, "another"}, figure.Units, map[string][]any{"a": {int64(1), int64(2)}})
	svg := drawnAs(t, f, figure.Panel{Chart: "rows", Y: names}, Look{ID: "a"})
	for _, word := range strings.Fields(label) {
		if !strings.Contains(svg, word) {
			t.Errorf("%q is cut off", word)
		}
	}
}

func TestALegendNamesWhatIsDrawn(t *testing.T) {
	f, names := table([]string{"one", "two"}, figure.Units, map[string][]any{"a": {nil, nil}, "b": {int64(4), nil}, "c": {"hidden", nil}})
	svg := drawnAs(t, f, figure.Panel{Chart: "lines", Y: names}, Look{ID: "a", Open: "hidden in here"})
	for title, wanted := range map[string]bool{"Column a": false, "Column b": true, "Column c": true} {
		if strings.Contains(svg, title) != wanted {
			t.Errorf("%s: in the legend %v, wanted %v", title, !wanted, wanted)
		}
	}
	f, names = table([]string{"one", "two"}, figure.Number, map[string][]any{"a": {1.0, 2.0}, "b": {2.0, 3.0}, "c": {3.0, 4.0}})
	svg = drawnAs(t, f, figure.Panel{Chart: "quartiles", Y: names}, Look{ID: "a"})
	// Two boxes and the legend's.
	if n := strings.Count(svg, `fill="#d6e6f2"`); n != 3 {
		t.Errorf("%d shapes are filled as the boxes are, wanted the two boxes and the legend", n)
	}
}

func TestAnAxisEndsAtATick(t *testing.T) {
	for highest, wanted := range map[float64][2]float64{
		84: {100, 20}, 100: {100, 20}, 62: {70, 10}, 30: {30, 5}, 22: {25, 5}, 10: {10, 2}, 8.5: {10, 2}, 101.9: {120, 20}, 169: {200, 50}, 1020: {1200, 200}, 34: {35, 5},
	} {
		if top, step := topOf(highest); top != wanted[0] || step != wanted[1] {
			t.Errorf("over %v: up to %v by %v, wanted %v by %v", highest, top, step, wanted[0], wanted[1])
		}
	}
}

// Numbers on an axis are written as those of the tables: their minus is no hyphen,
// their decimals stand after what the site puts before them.
func TestAnAxisIsWrittenAsTheTable(t *testing.T) {
	f, names := table([]string{"one", "two"}, figure.Number, map[string][]any{"a": {-1.5, -1200.0}, "b": {-1.0, -900.0}, "c": {-0.5, -600.0}})
	for _, c := range []struct {
		rows  int
		comma bool
		tick  string
	}{{1, false, "−1.5"}, {1, true, "−1,5"}, {2, false, "−1,200"}, {2, true, "−1.200"}} {
		f := &figure.Figure{Definition: f.Definition, Rows: f.Rows[c.rows-1 : c.rows]}
		svg := drawnAs(t, f, figure.Panel{Chart: "quartiles", Y: names}, Look{ID: "a", Format: figure.Format{Comma: c.comma}})
		if !strings.Contains(svg, ">"+c.tick+"<") || strings.Contains(svg, ">-") {
			t.Errorf("no tick reads %q, or one has a hyphen", c.tick)
		}
	}
}

// Of forty places many lie close together: names lie over no other name, nor over
// the name of the axis, and points between the limits have none.
func TestNamesInAFunnelKeepApart(t *testing.T) {
	f := &figure.Figure{Definition: &figure.Definition{Name: "t", Points: []figure.Column{{Name: "x", Kind: figure.Label, Title: "Place"}, {Name: "n", Kind: figure.Count}, {Name: "of", Kind: figure.Count}}}}
	for i := range int64(12) {
		f.Rows = append(f.Rows, []figure.Cell{{Value: fmt.Sprintf("Ward number %d", 10+i)}, {Value: int64(9)}, {Value: 15 + i%2}})
	}
	f.Rows = append(f.Rows, []figure.Cell{{Value: "Top Ward"}, {Value: int64(9)}, {Value: int64(9)}}, []figure.Cell{{Value: "Between Ward"}, {Value: int64(100)}, {Value: int64(200)}}, []figure.Cell{{Value: "Far Ward"}, {Value: int64(1)}, {Value: int64(200)}})
	limits := &figure.Funnel{Target: 0.3}
	f.Points = append(f.Points, figure.Column{Name: "outside", Kind: figure.Label})
	for i := range f.Rows {
		words := figure.Format{}.Say("limit_998")
		if f.Rows[i][0].Value == "Between Ward" {
			words = figure.Format{}.Say("limit_95")
		}
		f.Rows[i] = append(f.Rows[i], figure.Cell{Value: words})
	}
	svg := drawnAs(t, f, figure.Panel{Chart: "funnel", Y: []string{"n", "of"}, Unit: "share"}, Look{ID: "a", Funnel: limits})
	if n := strings.Count(svg, "Ward number"); n < 1 || n > 6 {
		t.Errorf("%d names of twelve places that lie at two points", n)
	}
	for name, wanted := range map[string]bool{"Top Ward": true, "Far Ward": true, "Between Ward": false} {
		if strings.Contains(svg, ">"+name+"<") != wanted {
			t.Errorf("%s is named %v, wanted %v", name, !wanted, wanted)
		}
	}
}

// The number on a bar is written as that of the table is, standing and lying.
func TestNumbersOnBarsAreThoseOfTheTable(t *testing.T) {
	r := drawn(t)
	for _, kind := range []string{"bars", "rows"} {
		f, p := bar("a")
		p.Chart = kind
		for comma, wanted := range map[bool]string{false: ">4,711<", true: ">4.711<"} {
			svg, err := drawnBy(r, f, p, Look{ID: "a", Format: figure.Format{Comma: comma}})
			if err != nil {
				t.Fatal(err)
			}
			if !strings.Contains(svg, wanted) || strings.Contains(svg, ">4711<") {
				t.Errorf("%s: the number is not written %s", kind, wanted)
			}
		}
	}
}

func TestALongNameBreaksNearItsMiddle(t *testing.T) {
	for text, wanted := range map[string]string{"over 1.5 to 2": "over 1.5\nto 2", "8 and more": "8 and\nmore", "to 1": "to 1", "cryoprecipitate": "cryoprecipitate", "": ""} {
		if got := halved(text, 8); got != wanted {
			t.Errorf("%q gives %q, wanted %q", text, got, wanted)
		}
	}
}

// TestBandStandsWhereItsEndsAre: a band that ends within a bar is shaded up to there.
func TestBandStandsWhereItsEndsAre(t *testing.T) {
	f := &figure.Figure{Definition: &figure.Definition{Points: []figure.Column{{Name: "low", Kind: figure.Place}}}}
	for _, low := range []float64{0, 2, 4, 6} {
		f.Rows = append(f.Rows, []figure.Cell{{Value: low}})
	}
	for _, c := range []struct{ low, high, from, to float64 }{{2, 6, 1, 3}, {1.5, 6.5, 0.75, 3.25}, {3, 7, 1.5, 3.5}, {-1, 99, 0, 4}} {
		if from, to, ok := bandBins(f, []float64{c.low, c.high}); !ok || from != c.from || to != c.to {
			t.Errorf("%v to %v is shaded from bar %v to %v (%t), wanted %v to %v", c.low, c.high, from, to, ok, c.from, c.to)
		}
	}
	if _, _, ok := bandBins(f, []float64{9, 12}); ok {
		t.Error("a band beyond all bars is shaded")
	}
}
