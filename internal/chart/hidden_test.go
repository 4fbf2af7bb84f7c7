package chart

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thawline/internal/figure"
	"thawline/internal/stat"
)

// barAt is a bar of a drawing, from its left top.
type barAt struct {
	series, row           int
	left, top, wide, high float64
}

var barForm = regexp.MustCompile(`<path d="M([-0-9.]+) ([-0-9.]+)l([-0-9.]+) 0l0 ([-0-9.]+)l[^"]*"[^>]*ecmeta_series_index="(\d+)" ecmeta_data_index="(\d+)"`)

// barsIn lists the bars of a drawing, standing ones by their upper end.
func barsIn(t *testing.T, svg string) (all []barAt) {
	t.Helper()
	for _, m := range barForm.FindAllStringSubmatch(svg, -1) {
		var x [6]float64
		for i := range x {
			var err error
			if x[i], err = strconv.ParseFloat(m[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		b := barAt{int(x[4]), int(x[5]), x[0], x[1], x[2], x[3]}
		if b.high < 0 {
			b.top, b.high = b.top+b.high, -b.high
		}
		all = append(all, b)
	}
	return all
}

// gridTop and gridFoot are where the picture begins and ends: its outermost ticks.
func gridEnds(t *testing.T, svg string) (top, foot float64) {
	t.Helper()
	top = math.Inf(1)
	for _, m := range tick.FindAllStringSubmatch(svg, -1) {
		y, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		top, foot = math.Min(top, y), math.Max(foot, y)
	}
	return top, foot
}

// A bar of which a part is hidden does not stand low: where nothing tells how high it
// is, a column reaches from what is shown to the top of the picture, the same in every
// such row, and where all of it is hidden from its foot on.
func TestAHiddenPartIsNoLowBar(t *testing.T) {
	labels := []string{"shown", "a part", "all", "nought"}
	for _, kind := range []string{"stacked", "histogram"} {
		f, names := table(labels, figure.Count, map[string][]any{"a": {int64(30), int64(12), "hidden", int64(0)}, "b": {int64(20), "hidden", "hidden", int64(0)}})
		f.Points = append(f.Points, figure.Column{Name: "low", Kind: figure.Place})
		for r := range f.Rows {
			f.Rows[r] = append(f.Rows[r], figure.Cell{Value: float64(r)})
		}
		svg := drawnAs(t, f, figure.Panel{Chart: kind, Y: names}, Look{ID: "a", Sized: "its length is told", Open: "anywhere in here"})
		top, foot := gridEnds(t, svg)
		columns := 0
		for _, b := range barsIn(t, svg) {
			if b.series < len(names) {
				continue
			}
			columns++
			under := foot
			for _, other := range barsIn(t, svg) {
				if other.series < len(names) && other.row == b.row {
					under = math.Min(under, other.top)
				}
			}
			if b.row != 1 && b.row != 2 || math.Abs(b.top-top) > 1 || math.Abs(b.top+b.high-under) > 1 {
				t.Errorf("%s: in row %q a column stands from %.1f to %.1f, wanted %.1f to %.1f", kind, labels[b.row], b.top+b.high, b.top, under, top)
			}
		}
		if columns != 2 {
			t.Errorf("%s: %d columns, wanted 2", kind, columns)
		}
		if !strings.Contains(svg, "anywhere in here") || strings.Contains(svg, "its length is told") {
			t.Errorf("%s: the legend does not say what the columns are, or what is not there", kind)
		}
	}
}

// Nothing stands on the line of zero for a value that is hidden: a column over the whole
// height of the picture does, on every chart of points and lines.
func TestAHiddenPointIsNoZero(t *testing.T) {
	months := []string{"one", "two", "three"}
	for _, c := range []struct {
		chart   string
		kind    figure.Kind
		a, b, c []any
	}{
		{"control", figure.Count, []any{int64(9), "hidden", int64(7)}, []any{int64(20), int64(20), int64(20)}, nil},
		{"rate", figure.Units, []any{int64(9), "hidden", int64(7)}, []any{int64(20), int64(20), int64(20)}, nil},
		{"lines", figure.Units, []any{int64(9), int64(8), int64(7)}, []any{int64(3), "hidden", int64(4)}, nil},
		{"lines", figure.Number, []any{-2.0, -1.0, 3.0}, []any{3.0, "hidden", 4.0}, nil},
		{"quartiles", figure.Number, []any{1.0, "hidden", 1.5}, []any{2.0, "hidden", 2.5}, []any{3.0, "hidden", 3.5}},
		{"quartiles", figure.Number, []any{-3.0, "hidden", -2.5}, []any{-2.0, "hidden", -1.5}, []any{-1.0, "hidden", -0.5}},
	} {
		columns := map[string][]any{"a": c.a, "b": c.b}
		if c.c != nil {
			columns["c"] = c.c
		}
		f, names := table(months, c.kind, columns)
		p := figure.Panel{Chart: c.chart, Y: names}
		if c.chart == "rate" {
			p.Per = 100
		}
		svg := drawnAs(t, f, p, Look{ID: "a", Open: "anywhere in here"})
		top, foot := gridEnds(t, svg)
		bars := barsIn(t, svg)
		if len(bars) != 1 || bars[0].row != 1 || math.Abs(bars[0].top-top) > 1 || math.Abs(bars[0].top+bars[0].high-foot) > 1 {
			t.Errorf("%s: %v, wanted one column in row 1 from %.1f to %.1f", c.chart, bars, top, foot)
		}
		if !strings.Contains(svg, "anywhere in here") {
			t.Errorf("%s: the legend does not say what the column is", c.chart)
		}
		if points := regexp.MustCompile(`ecmeta_data_index="1"`).FindAllString(svg, -1); c.chart != "lines" && len(points) != 1 {
			t.Errorf("%s: %d shapes in the row that is hidden, wanted the column alone", c.chart, len(points))
		}
	}
}

// Beside lying bars and intervals stands the word, in every row that holds something
// hidden, and in no other.
func TestBesideLyingBarsStandsAWord(t *testing.T) {
	look := Look{ID: "a", Hidden: "hidden", Open: "anywhere in here", Intervals: []stat.Interval{stat.Wilson(20, 40), {Low: math.NaN(), High: math.NaN()}, stat.Wilson(5, 50)}}
	for _, c := range []struct {
		chart string
		b     []any
		word  string
	}{
		{"rows", nil, ">hidden<"},
		{"rows", []any{int64(40), int64(7), int64(50)}, ">+ hidden<"},
		{"shares", []any{int64(40), int64(50), int64(50)}, ">hidden<"},
	} {
		columns := map[string][]any{"a": {int64(20), "hidden", int64(5)}}
		if c.b != nil {
			columns["b"] = c.b
		}
		f, names := table([]string{"one", "two", "three"}, figure.Count, columns)
		svg := drawnAs(t, f, figure.Panel{Chart: c.chart, Y: names}, look)
		if n := strings.Count(svg, "hidden<"); n != 1 || !strings.Contains(svg, c.word) {
			t.Errorf("%s: the word stands %d times, wanted %q once", c.chart, n, c.word)
		}
		if strings.Contains(svg, look.Open) {
			t.Errorf("%s: the legend speaks of columns that there are none of", c.chart)
		}
	}
}

// No two numbers on an axis are the same, and a bar of one is none that fills the
// picture.
func TestAxesOfSmallCounts(t *testing.T) {
	for _, kind := range []string{"bars", "stacked", "lines", "rows"} {
		for _, n := range []int64{1, 2, 3, 4, 6, 9} {
			f, names := table([]string{"one", "two"}, figure.Units, map[string][]any{"a": {n, int64(1)}})
			svg := drawnAs(t, f, figure.Panel{Chart: kind, Y: names}, Look{ID: "a"})
			var ticks []string
			for _, m := range tick.FindAllStringSubmatch(svg, -1) {
				ticks = append(ticks, m[2])
			}
			if kind == "rows" {
				for _, m := range regexp.MustCompile(`text-anchor="middle"[^>]* y="6"[^>]*>([^<]*)<`).FindAllStringSubmatch(svg, -1) {
					ticks = append(ticks, m[1])
				}
			}
			sorted := slices.Sorted(slices.Values(ticks))
			if len(ticks) < 3 || len(slices.Compact(sorted)) != len(ticks) || slices.ContainsFunc(ticks, func(s string) bool { return strings.Contains(s, ".") }) {
				t.Errorf("%s of %d: the axis reads %q", kind, n, ticks)
			}
			if last, err := strconv.Atoi(ticks[len(ticks)-1]); err == nil && last < fewest && kind != "lines" {
				t.Errorf("%s of %d: the axis ends at %d", kind, n, last)
			}
		}
	}
}

// The shade of a band has no edge on which a number would stand, and the numbers on
// bars stand under its stroke.
func TestNumbersStandClearOfTheBand(t *testing.T) {
	f, names := table([]string{"0 to 2", "2 to 4", "4 to 6", "6 to 8"}, figure.Count, map[string][]any{"a": {int64(10), int64(142), int64(50), int64(9)}})
	f.Points = append(f.Points, figure.Column{Name: "low", Kind: figure.Place})
	for r := range f.Rows {
		f.Rows[r] = append(f.Rows[r], figure.Cell{Value: float64(2 * r)})
	}
	svg := drawnAs(t, f, figure.Panel{Chart: "histogram", Y: names}, Look{ID: "a", Band: []float64{1.5, 6.5}})
	shade := regexp.MustCompile(`<polygon [^>]*fill="rgb\(0,158,115\)"[^>]*>`).FindString(svg)
	if !strings.Contains(shade, `stroke-width="0"`) {
		t.Errorf("no shade, or one with an edge: %q", shade)
	}
	stroke := regexp.MustCompile(`<path d="M[-0-9.]+ ([-0-9.]+)L[-0-9.]+ ([-0-9.]+)"[^>]*stroke="` + lineHues[2] + `"`).FindStringSubmatch(svg)
	if stroke == nil || stroke[1] != stroke[2] {
		t.Fatalf("the band has no stroke over the picture: %q", stroke)
	}
	at, _ := strconv.ParseFloat(stroke[1], 64)
	number := regexp.MustCompile(`transform="translate\([-0-9.]+ ([-0-9.]+)\)"[^>]*>142<`).FindStringSubmatch(svg)
	if number == nil {
		t.Fatal("the tallest bar has no number")
	}
	// Its letters end twelve units over their foot, which is up to six over its place.
	if y, _ := strconv.ParseFloat(number[1], 64); y-18 < at {
		t.Errorf("the number on the tallest bar stands at %.1f, the band's stroke at %.1f", y, at)
	}
}

// Names of places lie over no limit, where there is room beside their point.
func TestNamesInAFunnelLieOverNoLine(t *testing.T) {
	limits := &figure.Funnel{Target: 0.49}
	// Next to the foot there may be no room at any side: there it stands on paper.
	for _, at := range []spot{{8, 100}, {210, 95}, {120, 15}, {240, 90}, {60, 85}, {200, 12}} {
		room := &nameRoom{limits, 250, []spot{at}, nil}
		name := "Vascular access"
		side := room.side(at, name)
		b := room.taken[0]
		if b.left < 0 || b.right > width-left {
			t.Errorf("%v: the name reaches from %.0f to %.0f, beyond the picture", at, b.left, b.right)
		}
		for x := math.Max(b.left, 2); x <= math.Min(b.right, width-left-right); x++ {
			size := max(1, int(math.Round(x*250/(width-left-right))))
			for _, place := range []float64{0.025, 0.975, 0.001, 0.999} {
				if y := room.y(100 * limits.Share(size, place)); y > b.top && y < b.bottom {
					t.Errorf("%v: at its %s the name lies over the limit at %g", at, side, place)
					x = width
				}
			}
		}
	}
	room := &nameRoom{limits, 250, []spot{{205, 10}, {206, 11}}, nil}
	if a, b := room.side(spot{205, 10}, "Line Room"), room.side(spot{206, 11}, "Other Room"); room.taken[0].meets(room.taken[1]) {
		t.Errorf("two names lie over one another: %s and %s", a, b)
	}
}

// The legend looks as the chart does: each series has its hue and pattern there, each
// sign its form, and the drawing itself holds no word of it.
func TestLegendsLookAsTheChart(t *testing.T) {
	r := drawn(t)
	f, names := table([]string{"one", "two"}, figure.Count, map[string][]any{"a": {int64(20), int64(9)}, "b": {int64(8), int64(7)}, "c": {int64(6), "hidden"}})
	d, err := r.Draw(f, figure.Panel{Figure: "t", X: "x", Chart: "stacked", Y: names, Unit: "episodes", XTitle: "place"}, Look{ID: "a", Open: "open"})
	if err != nil {
		t.Fatal(err)
	}
	if d.Over != "episodes" || d.Under != "place" || strings.Contains(d.SVG, ">episodes<") || strings.Contains(d.SVG, ">place<") {
		t.Error("the names of the axes stand in the drawing, or nowhere")
	}
	if len(d.Legend) != 4 {
		t.Fatalf("%d lines in the legend, wanted 4", len(d.Legend))
	}
	seen := map[string]bool{}
	for k, sign := range d.Legend {
		if strings.Contains(d.SVG, sign.Name) {
			t.Errorf("%s stands in the drawing, which may be scrolled out of sight", sign.Name)
		}
		colour := hues[k%len(hues)]
		if k == 3 {
			colour = open["color"].(string)
		}
		if !strings.Contains(string(sign.Swatch), colour) || !strings.Contains(d.SVG, colour) {
			t.Errorf("%s is not %s in the legend and in the drawing", sign.Name, colour)
		}
		for _, m := range regexp.MustCompile(`[ML]([-0-9.]+) ([-0-9.]+)`).FindAllStringSubmatch(string(sign.Swatch), -1) {
			x, _ := strconv.ParseFloat(m[1], 64)
			y, _ := strconv.ParseFloat(m[2], 64)
			if x < 0 || x > swatchWidth || y < 0 || y > swatchHeight {
				t.Errorf("%s: its pattern reaches to %s %s, beyond its sign and over what stands there", sign.Name, m[1], m[2])
			}
		}
		seen[string(regexp.MustCompile(`#[0-9A-Fa-f]{6}`).ReplaceAll([]byte(sign.Swatch), nil))] = true
	}
	if len(seen) != 4 {
		t.Error("two lines of the legend differ by their hue alone")
	}
	// The numbers of the scale stand where those of the drawing do.
	ticks := tick.FindAllStringSubmatch(d.SVG, -1)
	if len(ticks) < 3 {
		t.Fatalf("%d numbers on the axis", len(ticks))
	}
	for _, m := range ticks {
		if !strings.Contains(d.Scale, fmt.Sprintf(`y="%s">%s<`, m[1], m[2])) {
			t.Errorf("the scale has no %s at %s", m[2], m[1])
		}
	}
}
