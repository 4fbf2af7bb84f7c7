package chart

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

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
	// Hidden is the word in the place of a value that is not shown. Sized names the piece
	// of a bar that is hidden and whose length is told, Open the column in which a value
	// lies that is hidden.
	Hidden, Sized, Open string
	// Format writes the numbers.
	Format figure.Format
}

const (
	// On A4, two figures of this width do not fit beside one another, but one and
	// its table do, with text of six points.
	width = 560
	left  = 56
	right = 26
	// plotHeight is how high the picture is between its axis and its top, footHeight
	// what a line of names takes under it.
	plotHeight = 188
	footHeight = 26
)

// fontSize of all text, in the drawing's units.
const fontSize = 12

// Draw returns the figure as SVG with what stands around it, or nil for a table.
func (r *Renderer) Draw(f *figure.Figure, p figure.Panel, look Look) (*Drawn, error) {
	var option map[string]any
	var err error
	tall, lying := 0, false
	switch p.Chart {
	case "table":
		return nil, nil
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
		lying = true
	case "shares":
		option, tall, err = shares(f, p, look)
		lying = true
	default:
		err = fmt.Errorf("no drawing for a chart of kind %q", p.Chart)
	}
	if err != nil {
		return nil, fmt.Errorf("figure %s: %w", f.Name, err)
	}
	drawn := &Drawn{Over: p.Unit, Under: p.XTitle}
	if legend, _ := option["legend"].(map[string]any); legend["show"] == true {
		drawn.Legend = signsOf(option)
	}
	delete(option, "legend")
	top, foot := 0, 0
	if lying {
		drawn.Over, drawn.Under = "", p.Unit
	} else {
		top, foot, tall = heights(option, look)
	}
	series, _ := option["series"].([]any)
	for _, one := range series {
		bare(one.(map[string]any))
	}
	// As in the tables, with as many decimals as a tick may have.
	svg, err := r.svg(option, width, tall, func(x float64) string { return look.Format.Number(x, 6) })
	if err != nil {
		return nil, fmt.Errorf("figure %s: %w", f.Name, err)
	}
	if drawn.SVG, err = finish(svg, look.ID, look.Asks, look.Says, width, tall); err != nil {
		return nil, err
	}
	if !lying {
		drawn.Scale = scaleOf(drawn.SVG, tall, top, foot)
	}
	return drawn, nil
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
	axis(out, "xAxis", map[string]any{"splitLine": map[string]any{"lineStyle": map[string]any{"color": gridLine}}})
	series, _ := out["series"].([]any)
	for _, s := range series {
		m := s.(map[string]any)
		switch m["type"] {
		case "scatter":
			style, _ := m["itemStyle"].(map[string]any)
			if style != nil {
				style["opacity"] = 1
			}
		case "line":
			// What its points say each is said once, and to the legend.
			if points, _ := m["data"].([]any); len(points) > 0 {
				if first, ok := points[0].(map[string]any); ok {
					for _, key := range []string{"symbol", "symbolSize"} {
						if first[key] != nil {
							m[key] = first[key]
						}
					}
				}
			}
		}
	}
	return out, err
}

// bare leaves of each point of a series only its value, where the rest says what
// the series says: a point with options of its own costs the library a good part
// of its time.
func bare(series map[string]any) {
	points, _ := series["data"].([]any)
	for i, point := range points {
		own, ok := point.(map[string]any)
		if !ok {
			continue
		}
		for _, key := range []string{"symbol", "symbolSize"} {
			if own[key] != nil && own[key] == series[key] {
				delete(own, key)
			}
		}
		if value := own["value"]; len(own) == 0 || len(own) == 1 && value != nil {
			points[i] = value
			if value == nil {
				points[i] = noPoint
				if series["large"] == true {
					// The library draws no such shape at all that lacks a bar: one
					// without a height is not seen.
					points[i] = 0
				}
			}
		}
	}
}

// noPoint is the library's word for a point without a value.
const noPoint = "-"

// common is what every chart has. legend says that its series are explained.
func common(p figure.Panel, legend bool) []charts.GlobalOpts {
	return []charts.GlobalOpts{
		charts.WithAnimation(false),
		charts.WithColorsOpts(opts.Colors(hues)),
		charts.WithLegendOpts(opts.Legend{Show: opts.Bool(legend)}),
		charts.WithGridOpts(opts.Grid{Left: strconv.Itoa(left), Right: strconv.Itoa(right)}),
		charts.WithXAxisOpts(opts.XAxis{Type: "category", AxisLabel: &opts.AxisLabel{Color: ink, FontSize: fontSize}}),
		charts.WithYAxisOpts(opts.YAxis{Type: "value", AxisLabel: &opts.AxisLabel{Color: ink, FontSize: fontSize}, SplitLine: &opts.SplitLine{Show: opts.Bool(true), LineStyle: &opts.LineStyle{Color: gridLine}}}),
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
		labels[i] = shorten(format.Cell(f.Points[x], row[x]), longest)
	}
	return labels
}

func bars(f *figure.Figure, p figure.Panel, look Look) (map[string]any, error) {
	bar := charts.NewBar()
	bar.SetGlobalOptions(common(p, true)...)
	bar.SetXAxis(categories(f, p, look.Format))
	barSeries(bar, f, p, "top")
	bar.Validate()
	option, err := plain(bar.JSON())
	if err != nil {
		return nil, err
	}
	axis(option, "xAxis", map[string]any{"axisTick": map[string]any{"alignWithLabel": true}})
	dressed(option, p)
	all := stacksOf(f, p)
	if all.lowest >= 0 {
		room := 1.0
		if len(look.Band) > 0 {
			// The number on the tallest bar stands under the band's edge.
			room = 1.12
		}
		top, step := all.top(room)
		axis(option, "yAxis", map[string]any{"min": 0, "max": top, "interval": step})
		all.pieces(option, look)
		all.columns(option, look, top)
	}
	option["legend"].(map[string]any)["show"] = len(option["series"].([]any)) > 1
	if f.Points[f.Index(p.X)].Kind == figure.Label && p.Chart != "histogram" && len(f.Rows) > 0 {
		namesUnder(option, len(f.Rows))
	}
	seriesList, _ := option["series"].([]any)
	for _, s := range seriesList {
		m := s.(map[string]any)
		if p.Chart == "histogram" {
			m["barCategoryGap"] = "4%"
		}
		if len(f.Rows) >= thinBars {
			m["large"], m["largeThreshold"] = true, 0
		}
	}
	if len(look.Band) == 2 && len(seriesList) > 0 {
		if from, to, ok := bandBins(f, look.Band); ok {
			shade(seriesList[0].(map[string]any), edge(from, len(f.Rows)), edge(to, len(f.Rows)), look.Format.Say("dose_band"))
		}
	}
	mark(option, f, p, look)
	lineAt(option, f, p, look)
	return option, nil
}

// lineAt draws a dashed line at each number of the answer that the panel names, in bars
// of which each begins at its low end, with the number over the picture.
func lineAt(option map[string]any, f *figure.Figure, p figure.Panel, look Look) {
	series, _ := option["series"].([]any)
	if len(p.Lines) == 0 || len(series) == 0 {
		return
	}
	first := series[0].(map[string]any)
	label := map[string]any{"formatter": "{b}", "color": ink, "fontSize": fontSize, "position": "end", "align": "center", "distance": 6}
	set := map[string]any{"silent": true, "symbol": "none", "lineStyle": map[string]any{"color": ink, "type": "dashed"}, "label": label, "data": []any{[]any{}}}
	first["markLine"] = set
	top := headroom(series, look)
	var data []any
	for _, name := range p.Lines {
		x, ok := f.Values[name].Value.(float64)
		if !ok {
			continue
		}
		at := edge(binOf(f, x), len(f.Rows))
		data = append(data, []any{map[string]any{"x": at, "y": top + plotHeight, "name": look.Format.Number(x, 1)}, map[string]any{"x": at, "y": top}})
	}
	set["data"] = data
}

// shade marks a band between two places: a stroke over the picture with the band's
// name, and a shade under it without an edge, on which numbers would stand.
func shade(series map[string]any, from, to float64, name string) {
	series["markArea"] = map[string]any{"silent": true, "itemStyle": map[string]any{"color": "rgba(0,158,115,0.13)"},
		"data": []any{[]any{map[string]any{"x": from}, map[string]any{"x": to}}}}
	at := headroom(nil, Look{Band: []float64{0, 0}}) - 4
	series["markLine"] = map[string]any{"silent": true, "symbol": "none", "lineStyle": map[string]any{"color": lineHues[2], "type": "solid", "width": 3},
		"label": map[string]any{"formatter": "{b}", "color": ink, "fontSize": fontSize, "position": "middle"},
		"data":  []any{[]any{map[string]any{"x": from, "y": at, "name": name}, map[string]any{"x": to, "y": at}}}}
}

// thinBars is how many bars side by side are too thin for outlines and numbers:
// an outline would swallow them, and numbers would lie over each other. So many
// are drawn as one shape a series, in a quarter of the time.
const thinBars = 48

// edge is the place of the left edge of bar i of n, or of a part of a bar, in the
// drawing's units: a category axis places only the middles of its bars.
func edge(i float64, n int) float64 {
	return round(left + float64(width-left-right)*i/float64(n))
}

// bandBins is the place of a band in bars of which each begins at its low end, the
// last as wide as the one before it.
func bandBins(f *figure.Figure, band []float64) (from, to float64, ok bool) {
	low := f.Index("low")
	if low < 0 || len(f.Rows) < 2 {
		return 0, 0, false
	}
	from, to = binOf(f, band[0]), binOf(f, band[1])
	return from, to, from < to
}

// binOf is the place of a value in bars of which each begins at its low end.
func binOf(f *figure.Figure, x float64) float64 {
	low := f.Index("low")
	begins := make([]float64, len(f.Rows))
	for i, row := range f.Rows {
		begins[i], _ = row[low].Value.(float64)
	}
	i := 0
	for i < len(begins)-2 && begins[i+1] <= x {
		i++
	}
	return math.Max(0, math.Min(float64(len(begins)), float64(i)+(x-begins[i])/(begins[i+1]-begins[i])))
}

// ByMonth says that the kind of chart bears lines at months, where its x is one.
func ByMonth(p figure.Panel) bool {
	return slices.Contains([]string{"control", "rate", "stacked", "bars", "lines", "before_after"}, p.Chart)
}

// mark draws the interventions on a chart by month: a dashed line, its number over the
// picture so that it lies over no bar; those of one month are one line.
func mark(option map[string]any, f *figure.Figure, p figure.Panel, look Look) {
	x := f.Index(p.X)
	if f.Points[x].Kind != figure.Month {
		return
	}
	var data []any
	series, _ := option["series"].([]any)
	names := map[string][]string{}
	for _, one := range look.Interventions {
		names[one.Month] = append(names[one.Month], one.Name)
	}
	// free is where each row of names over the picture has room, in the drawing's units.
	var free [nameRows]float64
	for i, row := range f.Rows {
		month, _ := row[x].Value.(string)
		if len(names[month]) == 0 {
			continue
		}
		name := shorten(strings.Join(names[month], ", "), 38)
		half := 7 * float64(len([]rune(name))) / 2
		at, line := edge(float64(i)+0.5, len(f.Rows)), 0
		for line < nameRows-1 && free[line] > at-half {
			line++
		}
		free[line] = at + half + 4
		data = append(data, map[string]any{"xAxis": i, "name": name, "label": map[string]any{"align": "center", "distance": 6 + nameHeight*line}})
	}
	if len(series) > 0 && len(data) > 0 {
		series[0].(map[string]any)["markLine"] = map[string]any{"silent": true, "symbol": "none", "data": data,
			"lineStyle": map[string]any{"color": ink, "type": "dashed"},
			"label":     map[string]any{"formatter": "{b}", "color": ink, "fontSize": fontSize, "position": "end"}}
	}
}

// Names of interventions stand in so many rows over the picture, each so high.
const (
	nameRows   = 3
	nameHeight = 15
)

// headroom is how much stands over the picture: half a number of its axis, the number on
// the tallest bar, the names of interventions, the name of a band.
func headroom(series []any, look Look) int {
	more := 8
	if len(series) > 0 {
		first := series[0].(map[string]any)
		if label, _ := first["label"].(map[string]any); label["position"] == "top" {
			more += 10
		}
		if line, ok := first["markLine"].(map[string]any); ok && len(look.Band) == 0 {
			names, _ := line["data"].([]any)
			rows := 1
			for _, name := range names {
				one, _ := name.(map[string]any)
				label, _ := one["label"].(map[string]any)
				if distance, ok := label["distance"].(int); ok {
					rows = max(rows, 1+(distance-6)/nameHeight)
				}
			}
			more += nameHeight*rows + 4
		}
	}
	if len(look.Band) > 0 {
		more = 8 + nameHeight + 8
	}
	return more
}

// heights gives the picture its room, and says where its top and its foot lie and how
// tall the drawing is.
func heights(option map[string]any, look Look) (from, foot, tall int) {
	series, _ := option["series"].([]any)
	from = headroom(series, look)
	under := footHeight
	for _, list := range option["xAxis"].([]any) {
		names, _ := list.(map[string]any)["data"].([]any)
		label, _ := list.(map[string]any)["axisLabel"].(map[string]any)
		for _, name := range names {
			text, _ := name.(string)
			// A letter takes 7 units; a name wider than its room is broken, and so may one
			// be that was cut off for want of it.
			if strings.ContainsAny(text, "\n…") || label["width"] != nil && 7*len([]rune(text)) > label["width"].(int) {
				under = footHeight + fontSize + 2
			}
		}
	}
	if grids, ok := option["grid"].([]any); ok {
		grid := grids[0].(map[string]any)
		grid["top"], grid["bottom"] = from, under
	}
	return from, from + plotHeight, from + plotHeight + under
}

// round keeps bytes short and the same on every machine.
func round(x float64) float64 { return math.Round(x*100) / 100 }
