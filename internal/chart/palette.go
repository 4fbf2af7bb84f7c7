package chart

import (
	"math"
	"slices"

	"thawline/internal/figure"
)

// ink is the colour of text, thin lines and outlines. It stands out from white
// and from every fill by three to one and more (WCAG 2.2, 1.4.11), which two
// fills side by side need not do: an outline parts them.
const (
	ink   = "#111a24"
	paper = "#ffffff"
	// gridLine only helps the eye along.
	gridLine = "#e3e7ec"
)

// hues after Okabe and Ito 2008, told apart by colour-blind readers, in an order
// whose lightness alternates for grey print.
var hues = []string{"#0072B2", "#E69F00", "#CC79A7", "#009E73", "#BBBBBB", "#56B4E9", "#D55E00", "#F0E442"}

// lineHues stand out from white by three to one and more, as a line has no
// outline; strokes and symbols tell lines apart besides.
var lineHues = []string{"#0072B2", "#D55E00", "#00795A", "#A3427C", "#6B6B6B", "#8A5A00"}

// patterns tell the fills apart without their hues, one a hue; the first is
// plain. Marks are white on dark fills and ink on light ones.
var patterns = []map[string]any{
	nil,
	{"symbol": "rect", "dashArrayX": []float64{1, 0}, "dashArrayY": []float64{1.5, 5}, "rotation": -math.Pi / 4, "color": ink},
	{"symbol": "circle", "dashArrayX": [][]float64{{7, 7}, {0, 7, 7, 0}}, "dashArrayY": []float64{5, 2}, "symbolSize": 0.6, "color": ink},
	{"symbol": "rect", "dashArrayX": []float64{1, 0}, "dashArrayY": []float64{1.5, 5}, "rotation": math.Pi / 4, "color": paper},
	{"symbol": "rect", "dashArrayX": []float64{1, 0}, "dashArrayY": []float64{1, 4}, "rotation": 0, "color": ink},
	{"symbol": "rect", "dashArrayX": []float64{1, 0}, "dashArrayY": []float64{1, 4}, "rotation": math.Pi / 2, "color": ink},
	{"symbol": "circle", "dashArrayX": [][]float64{{5, 5}, {0, 5, 5, 0}}, "dashArrayY": []float64{4, 1}, "symbolSize": 0.7, "color": paper},
	{"symbol": "triangle", "dashArrayX": [][]float64{{9, 9}, {0, 9, 9, 0}}, "dashArrayY": []float64{7, 2}, "symbolSize": 0.7, "color": ink},
}

// fateHues are the hues of what became of bags, by column: the same in every chart.
var fateHues = map[string]int{"given": 0, "used": 0, "presumed": 1, "lost": 2, "discarded": 2, "returned": 3, "other": 4}

// hueOf is the hue of the k-th series of bars: that of its column where the chart
// speaks of what became of bags.
func hueOf(p figure.Panel, k int) int {
	if p.Hue != "" {
		return fateHues[p.Hue]
	}
	fates := slices.ContainsFunc(p.Y, func(name string) bool { return fateHues[name] == fateHues["lost"] })
	if k < len(p.Y) && fates {
		if hue, found := fateHues[p.Y[k]]; found {
			return hue
		}
	}
	return k
}

// filled is the style of bars of the k-th hue.
func filled(k int) map[string]any {
	style := map[string]any{"color": hues[k%len(hues)], "borderColor": ink, "borderWidth": 0.8}
	if p := patterns[k%len(patterns)]; p != nil {
		style["decal"] = p
	}
	return style
}

// dressed gives each series of bars its fill and pattern.
func dressed(option map[string]any, p figure.Panel) {
	series, _ := option["series"].([]any)
	for k, s := range series {
		m := s.(map[string]any)
		m["itemStyle"] = filled(hueOf(p, k))
		m["barCategoryGap"] = barGap
		// The bar of a first month is no wall.
		m["barMaxWidth"] = 64
	}
}

// barGap is the part of a row's room that its bar leaves.
const barGap = "28%"
