package chart

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"thawline/internal/figure"
)

// TestBubbles: a count is a circle whose area is as the count, a nought nothing, and what
// is hidden a diamond of one size, whatever it is; lines of equal dose need the mL of a bag.
func TestBubbles(t *testing.T) {
	circles := regexp.MustCompile(`matrix\(([0-9.]+),0,0,[^>]*ecmeta_series_index="0"`)
	svgOf := func(hidden int64, bag figure.Cell) string {
		f := &figure.Figure{Definition: &figure.Definition{Name: "t", Points: []figure.Column{{Name: "x", Kind: figure.Label}, {Name: "kg", Kind: figure.Place}, {Name: "two", Kind: figure.Count}, {Name: "four", Kind: figure.Count}}},
			Values: map[string]figure.Cell{"bag": bag}}
		cell := figure.Cell{Value: hidden}
		if hidden < 5 && hidden > 0 {
			cell = figure.Cell{Hidden: true}
		}
		f.Rows = [][]figure.Cell{{{Value: "light"}, {Value: 52.5}, {Value: int64(100)}, cell}, {{Value: "heavy"}, {Value: 67.5}, {Value: int64(25)}, {Value: int64(0)}}}
		svg, err := drawnBy(drawn(t), f, figure.Panel{Chart: "bubbles", X: "kg", Y: []string{"two", "four"}, Equal: []float64{10, 15}, Bag: "bag"}, Look{ID: "a", Hidden: "hidden"})
		if err != nil {
			t.Fatal(err)
		}
		return svg
	}
	svg := svgOf(3, figure.Cell{Value: 250.0})
	var radii []string
	for _, m := range circles.FindAllStringSubmatch(svg, -1) {
		radii = append(radii, m[1])
	}
	if fmt.Sprint(radii) != "[14 7]" {
		t.Errorf("circles of %q, wanted 14 and 7 for 100 and 25", radii)
	}
	if svg != svgOf(2, figure.Cell{Value: 250.0}) {
		t.Error("two hidden counts are drawn otherwise than three")
	}
	if n := strings.Count(svg, `stroke-linejoin="bevel"`); n != 2 {
		t.Errorf("%d lines of equal dose, wanted two", n)
	}
	if n := strings.Count(svgOf(0, figure.Cell{Hidden: true}), `stroke-linejoin="bevel"`); n != 0 {
		t.Errorf("%d lines of a bag that is hidden", n)
	}
}

// TestLinesAreNumbered: two interventions of one month stand at one line, and numbers of
// months close together in rows over one another.
func TestLinesAreNumbered(t *testing.T) {
	f := &figure.Figure{Definition: &figure.Definition{Name: "t", Points: []figure.Column{{Name: "month", Kind: figure.Month}, {Name: "n", Kind: figure.Units}}}}
	for i := range 60 {
		f.Rows = append(f.Rows, []figure.Cell{{Value: fmt.Sprintf("%d-%02d", 2020+i/12, 1+i%12)}, {Value: int64(10)}})
	}
	look := Look{ID: "a", Interventions: []figure.Intervention{{Month: "2021-03", Name: "1"}, {Month: "2021-03", Name: "2"}, {Month: "2021-04", Name: "3"}, {Month: "2023-01", Name: "4"}}}
	svg, err := drawnBy(drawn(t), f, figure.Panel{Chart: "bars", X: "month", Y: []string{"n"}}, look)
	if err != nil {
		t.Fatal(err)
	}
	heights := map[string]string{}
	for _, m := range regexp.MustCompile(`y="-6" transform="translate\([0-9.]+ ([0-9.]+)\)"[^>]*>(1, 2|3|4)</text>`).FindAllStringSubmatch(svg, -1) {
		heights[m[2]] = m[1]
	}
	if len(heights) != 3 || heights["1, 2"] == heights["3"] || heights["1, 2"] != heights["4"] {
		t.Errorf("the numbers stand at %v", heights)
	}
}
