package chart

import (
	"math"
	"slices"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

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

// stubbed is the style of a stub that stands for a value which is not shown.
var stubbed = map[string]any{"color": paper, "borderColor": ink, "borderWidth": 0.8, "borderType": "dashed",
	"decal": map[string]any{"symbol": "rect", "dashArrayX": []float64{1, 0}, "dashArrayY": []float64{1, 2.5}, "rotation": -math.Pi / 4, "color": ink}}

// barSeries adds a series for each column of y, and where values are hidden a piece
// that stands for them: as long as they are together where the page tells that
// anyway, else a stub of one length for all, which tells that something is there and
// not how much; a question mark at its end says so. It says which series is the
// pieces' (-1 without one).
func barSeries(bar *charts.Bar, f *figure.Figure, p figure.Panel, look Look, numbers string) (stubs int) {
	hidden, rests := make([]bool, len(f.Rows)), make([]float64, len(f.Rows))
	some, highest := false, 0.0
	// Thin bars bear no mark that tells one piece from another.
	thin := len(f.Rows) >= thinBars
	for r, row := range f.Rows {
		sum := 0.0
		for _, name := range p.Y {
			c := row[f.Index(name)]
			if x, ok := number(c); ok {
				sum += x
			}
			if c.Hidden {
				hidden[r], some = true, true
			}
		}
		if rest, told := f.Rest(r); told && hidden[r] && whole(f, p) && !thin {
			rests[r] = float64(rest)
		}
		highest = math.Max(highest, sum+rests[r])
	}
	for _, name := range p.Y {
		i := f.Index(name)
		data := make([]opts.BarData, len(f.Rows))
		for r, row := range f.Rows {
			// A hidden cell has no value: nothing of it reaches the drawing.
			data[r] = opts.BarData{Value: row[i].Value}
			if row[i].Value == int64(0) {
				// No bar and no label on it; the table has the zero.
				data[r].Value = nil
			}
		}
		series := []charts.SeriesOpts{charts.WithBarChartOpts(opts.BarChart{Stack: "all"})}
		if len(p.Y) == 1 {
			series = append(series, charts.WithLabelOpts(opts.Label{Show: opts.Bool(true), Position: numbers, Color: ink, FontSize: fontSize}))
		}
		bar.AddSeries(f.Points[i].Title, data, series...)
	}
	if !some {
		return -1
	}
	stub := round(math.Max(highest, 1) / 25)
	data := make([]opts.BarData, len(f.Rows))
	name := look.Hidden
	for r := range f.Rows {
		switch {
		case hidden[r] && rests[r] > 0:
			data[r].Value = rests[r]
		case hidden[r] && thin:
			data[r].Value, name = stub, look.UnscaledAll
		case hidden[r]:
			data[r] = opts.BarData{Value: stub, Label: &opts.Label{Show: opts.Bool(true), Position: numbers, Formatter: "?", Color: ink, FontSize: fontSize}}
			name = look.Unscaled
		}
	}
	bar.AddSeries(name, data, charts.WithBarChartOpts(opts.BarChart{Stack: "all"}))
	return len(p.Y)
}

// whole says that a panel stacks every count of its figure.
func whole(f *figure.Figure, p figure.Panel) bool {
	for _, c := range f.Points {
		if c.Kind == figure.Count && !slices.Contains(p.Y, c.Name) {
			return false
		}
	}
	return true
}

// dressed gives each series of bars its fill and pattern.
func dressed(option map[string]any, p figure.Panel, stubs int) {
	series, _ := option["series"].([]any)
	for k, s := range series {
		m := s.(map[string]any)
		m["itemStyle"] = filled(hueOf(p, k))
		if k == stubs {
			m["itemStyle"] = stubbed
		}
		m["barCategoryGap"] = "28%"
		// The bar of a first month is no wall.
		m["barMaxWidth"] = 64
	}
}

// standing and atRow place a mark at zero on the axis of values, in row r: of a
// chart whose categories lie along the foot, and of one whose rows stand under
// each other.
func standing(int) any { return 0 }
func atRow(r int) any  { return []any{0, r} }

// crosses marks on the axis of a chart by category those rows whose value is
// hidden, so that they are not taken for rows without one.
func crosses(option map[string]any, f *figure.Figure, columns []string, look Look, place func(r int) any) {
	data := make([]any, len(f.Rows))
	some := false
	for r, row := range f.Rows {
		for _, name := range columns {
			if i := f.Index(name); i >= 0 && row[i].Hidden {
				data[r], some = place(r), true
			}
		}
	}
	series, _ := option["series"].([]any)
	if !some || len(series) == 0 {
		return
	}
	option["series"] = append(series, map[string]any{"type": "scatter", "name": look.Hidden, "data": data, "z": 5,
		"symbol": "path://M0 0 L10 10 M10 0 L0 10", "symbolSize": 7, "itemStyle": map[string]any{"color": paper, "borderColor": ink, "borderWidth": 1.4}})
}
