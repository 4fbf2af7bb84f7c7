package chart

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"thawline/internal/figure"
	"thawline/internal/stat"
)

// Look is what a drawing needs beside the figure.
type Look struct {
	// ID is the prefix of the drawing's identifiers, its own on the page.
	ID string
	// Asks and Says become its title and description.
	Asks, Says string
	// Band holds the two values between which the axis is shaded, if any.
	Band []float64
	// Limits holds the control chart's lines, a value a row of the figure; nil
	// without enough data.
	Limits *figure.Limits
	// Funnel holds the funnel plot's limits.
	Funnel *figure.Funnel
	// Intervals holds the interval of the share of each row of the figure.
	Intervals []stat.Interval
	// Interventions are months with a name, marked on charts by month.
	Interventions []figure.Intervention
	// Format writes the numbers.
	Format figure.Format
}

const (
	width  = 760
	height = 320
	left   = 56
	right  = 18
)

// Hues after Okabe and Ito 2008, told apart by colour-blind readers, in an
// order whose lightness alternates for grey print; patterns tell them besides.
var hues = []string{"#0072B2", "#E69F00", "#CC79A7", "#009E73", "#BBBBBB", "#56B4E9", "#D55E00", "#F0E442"}

// lineHues are those hues that are dark enough for a thin line on white.
var lineHues = []string{"#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00"}

const ink = "#1d2733"

// upright puts the name of the axis of values over its left end.
var upright = map[string]any{"color": ink, "align": "left", "padding": []int{0, 0, 0, -40}}

// Draw returns the figure as SVG, or an empty string for a table.
func (r *Renderer) Draw(f *figure.Figure, p figure.Panel, look Look) (string, error) {
	var option map[string]any
	var err error
	tall := height
	switch p.Chart {
	case "table":
		return "", nil
	case "stacked", "bars", "histogram":
		option, err = bars(f, p, look)
	case "control", "rate", "between":
		option, err = control(f, p, look)
	case "funnel":
		option, err = funnel(f, p, look)
	case "effect":
		option, err = effect(f, p, look)
	case "quartiles":
		option, err = quartiles(f, p, look)
	case "before_after":
		p.Y = []string{"share", "fitted", "without"}
		option, err = lines(f, p, look)
	case "lines":
		option, err = lines(f, p, look)
	case "rows":
		option, tall, err = rows(f, p, look)
	case "shares":
		option, tall, err = shares(f, p, look)
	default:
		err = fmt.Errorf("no drawing for a chart of kind %q", p.Chart)
	}
	if err != nil {
		return "", fmt.Errorf("figure %s: %w", f.Name, err)
	}
	svg, err := r.svg(option, width, tall)
	if err != nil {
		return "", fmt.Errorf("figure %s: %w", f.Name, err)
	}
	return finish(svg, look.ID, look.Asks, look.Says, width, tall)
}

// plain turns an option of go-echarts into data without its types.
func plain(option map[string]any) (map[string]any, error) {
	text, err := json.Marshal(option)
	if err != nil {
		return nil, err
	}
	var out map[string]any
	err = json.Unmarshal(text, &out)
	// Neither tooltips nor a toolbox have a use on paper.
	delete(out, "tooltip")
	delete(out, "toolbox")
	// Widths of text are estimates here: room between the words keeps them apart.
	if legends, ok := out["legend"].(map[string]any); ok {
		legends["itemGap"] = 26
	}
	return out, err
}

func common(p figure.Panel, legend bool) []charts.GlobalOpts {
	top := "34"
	if legend {
		top = "74"
	}
	if len(p.Y) > 6 {
		top = "104" // The legend takes a second line.
	}
	return []charts.GlobalOpts{
		charts.WithAnimation(false),
		charts.WithColorsOpts(opts.Colors(hues)),
		charts.WithAriaOpts(&opts.Aria{Enabled: opts.Bool(true), Decal: &opts.AriaDecal{Show: opts.Bool(true)}}),
		charts.WithLegendOpts(opts.Legend{Show: opts.Bool(legend), Left: "8", Top: "0", TextStyle: &opts.TextStyle{Color: ink, FontSize: 11}, ItemWidth: 20, ItemHeight: 12}),
		charts.WithGridOpts(opts.Grid{Left: strconv.Itoa(left), Right: strconv.Itoa(right), Top: top, Bottom: "46"}),
		charts.WithXAxisOpts(opts.XAxis{Type: "category", Name: p.XTitle, NameLocation: "middle", NameGap: 30, AxisLabel: &opts.AxisLabel{Color: ink, FontSize: 11}}),
		charts.WithYAxisOpts(opts.YAxis{Type: "value", Name: p.Unit, AxisLabel: &opts.AxisLabel{Color: ink, FontSize: 11}, SplitLine: &opts.SplitLine{Show: opts.Bool(true), LineStyle: &opts.LineStyle{Color: "#e3e7ec"}}}),
	}
}

// axis sets what go-echarts has no field for.
func axis(option map[string]any, name string, set map[string]any) {
	list, _ := option[name].([]any)
	for _, item := range list {
		if m, ok := item.(map[string]any); ok {
			for k, v := range set {
				m[k] = v
			}
		}
	}
}

func categories(f *figure.Figure, p figure.Panel, format figure.Format) []string {
	x := f.Index(p.X)
	labels := make([]string, len(f.Rows))
	for i, row := range f.Rows {
		labels[i] = format.Cell(f.Points[x], row[x])
	}
	return labels
}

func bars(f *figure.Figure, p figure.Panel, look Look) (map[string]any, error) {
	bar := charts.NewBar()
	bar.SetGlobalOptions(common(p, len(p.Y) > 1)...)
	bar.SetXAxis(categories(f, p, look.Format))
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
		series := []charts.SeriesOpts{charts.WithItemStyleOpts(opts.ItemStyle{BorderColor: "#ffffff", BorderWidth: 0.5})}
		if p.Chart == "stacked" {
			series = append(series, charts.WithBarChartOpts(opts.BarChart{Stack: "all"}))
		} else {
			series = append(series, charts.WithLabelOpts(opts.Label{Show: opts.Bool(true), Position: "top", Color: ink, FontSize: 11}))
		}
		bar.AddSeries(f.Points[i].Title, data, series...)
	}
	bar.Validate()
	option, err := plain(bar.JSON())
	if err != nil {
		return nil, err
	}
	axis(option, "yAxis", map[string]any{"minInterval": 1, "nameTextStyle": upright})
	axis(option, "xAxis", map[string]any{"axisTick": map[string]any{"alignWithLabel": true}})
	seriesList, _ := option["series"].([]any)
	for _, s := range seriesList {
		m := s.(map[string]any)
		m["barCategoryGap"] = "28%"
		if p.Chart == "histogram" {
			m["barCategoryGap"] = "4%"
		}
	}
	if len(look.Band) == 2 && len(seriesList) > 0 {
		if from, to, ok := bandBins(f, look.Band); ok {
			seriesList[0].(map[string]any)["markArea"] = map[string]any{
				"silent": true, "itemStyle": map[string]any{"color": "#009E73", "opacity": 0.13},
				"label": map[string]any{"color": ink, "position": "insideTopRight"},
				"data":  []any{[]any{map[string]any{"name": "dose band", "x": edge(from, len(f.Rows))}, map[string]any{"x": edge(to+1, len(f.Rows))}}},
			}
		}
	}
	mark(option, f, p, look)
	return option, nil
}

// edge is the place of the left edge of bar i of n, in the drawing's units: a
// category axis places only the middles of its bars.
func edge(i, n int) float64 {
	return round(left + float64(width-left-right)*float64(i)/float64(n))
}

// bandBins finds the bars whose lower ends lie in the band.
func bandBins(f *figure.Figure, band []float64) (from, to int, ok bool) {
	low := f.Index("low")
	if low < 0 {
		return 0, 0, false
	}
	from = -1
	for i, row := range f.Rows {
		x, _ := row[low].Value.(float64)
		if x >= band[0] && x < band[1] {
			if from < 0 {
				from = i
			}
			to = i
		}
	}
	return from, to, from >= 0
}

// mark draws the interventions on a chart by month.
func mark(option map[string]any, f *figure.Figure, p figure.Panel, look Look) {
	x := f.Index(p.X)
	if f.Points[x].Kind != figure.Month {
		return
	}
	var data []any
	for _, one := range look.Interventions {
		for i, row := range f.Rows {
			if row[x].Value == one.Month {
				data = append(data, map[string]any{"xAxis": i, "name": one.Name})
			}
		}
	}
	if series, _ := option["series"].([]any); len(series) > 0 && len(data) > 0 {
		series[0].(map[string]any)["markLine"] = map[string]any{"silent": true, "symbol": "none", "data": data,
			"lineStyle": map[string]any{"color": ink, "type": "dashed"},
			"label":     map[string]any{"formatter": "{b}", "color": ink, "position": "insideEndTop"}}
	}
}

// controlled is the value of a row of a control chart: a share in percent, a rate,
// or, of a chart of one column, its number. ok is false for a gap.
func controlled(f *figure.Figure, p figure.Panel, row []figure.Cell) (x float64, ok bool) {
	if len(p.Y) == 1 {
		return number(row[f.Index(p.Y[0])])
	}
	scale := 100.0
	if p.Per > 0 {
		scale = p.Per
	}
	a, okA := row[f.Index(p.Y[0])].Value.(int64)
	b, okB := row[f.Index(p.Y[1])].Value.(int64)
	return scale * float64(a) / float64(b), okA && okB && b > 0
}

// control draws a control chart of shares in percent, of rates, or of numbers.
func control(f *figure.Figure, p figure.Panel, look Look) (map[string]any, error) {
	// The lines of a p chart are fractions of one.
	name, lines := "share", 100.0
	switch {
	case len(p.Y) == 1:
		name, lines = f.Points[f.Index(p.Y[0])].Title, 1
	case p.Per > 0:
		name, lines = "rate", 1
	}
	line := charts.NewLine()
	line.SetGlobalOptions(common(p, true)...)
	line.SetXAxis(categories(f, p, look.Format))
	shares := make([]opts.LineData, len(f.Rows))
	highest := 0.0
	for i, row := range f.Rows {
		// A gap, where there is nothing or it is hidden.
		shares[i] = opts.LineData{Symbol: "circle", SymbolSize: 7}
		if share, ok := controlled(f, p, row); ok {
			shares[i].Value = round(share)
			highest = math.Max(highest, share)
			if look.Limits != nil && look.Limits.Signal[i] {
				shares[i].Symbol, shares[i].SymbolSize = "diamond", 13
			}
		}
	}
	line.AddSeries(name, shares, charts.WithLineStyleOpts(opts.LineStyle{Color: hues[0], Width: 2}))
	if l := look.Limits; l != nil {
		flat := make([]float64, len(f.Rows))
		for i := range flat {
			flat[i] = l.Centre
			if !math.IsNaN(l.Upper[i]) {
				highest = math.Max(highest, lines*l.Upper[i])
			}
		}
		for _, one := range []struct {
			name, kind, step string
			values           []float64
		}{{"centre", "solid", "", flat}, {"lower limit", "dashed", "middle", l.Lower}, {"upper limit", "dashed", "middle", l.Upper}} {
			data := make([]opts.LineData, len(one.values))
			for i, v := range one.values {
				data[i] = opts.LineData{Symbol: "none"}
				if !math.IsNaN(v) {
					data[i].Value = round(lines * v)
				}
			}
			set := opts.LineChart{}
			if one.step != "" {
				set.Step = one.step
			}
			line.AddSeries(one.name, data, charts.WithLineStyleOpts(opts.LineStyle{Color: ink, Width: 1, Type: one.kind}), charts.WithLineChartOpts(set), charts.WithItemStyleOpts(opts.ItemStyle{Color: ink}))
		}
	}
	line.Validate()
	option, err := plain(line.JSON())
	if err != nil {
		return nil, err
	}
	set := map[string]any{"min": 0, "nameTextStyle": upright}
	if lines == 100 {
		set["max"] = math.Min(100, math.Max(10, 10*math.Ceil(highest/10)))
		set["axisLabel"] = map[string]any{"formatter": "{value} %", "color": ink, "fontSize": 11}
	}
	axis(option, "yAxis", set)
	mark(option, f, p, look)
	return option, nil
}

// effect draws medians after against medians before, with quartiles, the line
// of no change and the expected one. No patient is a point of their own.
func effect(f *figure.Figure, p figure.Panel, look Look) (map[string]any, error) {
	x := f.Index(p.X)
	column := func(name string) []opts.ScatterData {
		i := f.Index(name)
		var data []opts.ScatterData
		for _, row := range f.Rows {
			if row[x].Value != nil && row[i].Value != nil {
				data = append(data, opts.ScatterData{Value: []any{row[x].Value, row[i].Value}})
			}
		}
		return data
	}
	top := 2.0
	for _, row := range f.Rows {
		for _, name := range append([]string{p.X}, p.Y...) {
			if v, ok := row[f.Index(name)].Value.(float64); ok {
				top = math.Max(top, math.Ceil(v))
			}
		}
	}
	scatter := charts.NewScatter()
	scatter.SetGlobalOptions(common(p, true)...)
	for i, one := range []struct {
		name, title, symbol string
		size                int
	}{{"after", "median after", "circle", 13}, {"low", "lower quartile", "triangle", 9}, {"high", "upper quartile", "diamond", 9}, {"expected", "expected (published regression)", "emptyCircle", 13}} {
		scatter.AddSeries(one.title, column(one.name), charts.WithScatterChartOpts(opts.ScatterChart{Symbol: one.symbol, SymbolSize: one.size}), charts.WithItemStyleOpts(opts.ItemStyle{Color: hues[[]int{0, 5, 5, 6}[i]]}))
	}
	scatter.Validate()
	option, err := plain(scatter.JSON())
	if err != nil {
		return nil, err
	}
	axis(option, "xAxis", map[string]any{"type": "value", "min": 1, "max": top, "data": nil})
	axis(option, "yAxis", map[string]any{"min": 1, "max": top, "nameTextStyle": upright})
	if series, _ := option["series"].([]any); len(series) > 0 {
		series[0].(map[string]any)["markLine"] = map[string]any{"silent": true, "symbol": "none",
			"lineStyle": map[string]any{"color": ink, "type": "dashed"},
			"label":     map[string]any{"formatter": "{b}", "color": ink, "position": "insideMiddleTop"},
			"data":      []any{[]any{map[string]any{"coord": []float64{1, 1}, "name": "no change"}, map[string]any{"coord": []float64{top, top}}}}}
	}
	return option, nil
}

// round keeps bytes short and the same on every machine.
func round(x float64) float64 { return math.Round(x*100) / 100 }
