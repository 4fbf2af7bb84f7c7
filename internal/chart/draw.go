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
	// Hidden names what is drawn in the place of a value that is not shown; Unscaled the
	// same where a question mark says of some that their length tells nothing, and
	// UnscaledAll where that of none does.
	Hidden, Unscaled, UnscaledAll string
	// Format writes the numbers.
	Format figure.Format
}

const (
	// On A4, two figures of this width do not fit beside one another, but one and
	// its table do, with text of six points.
	width  = 560
	height = 250
	left   = 56
	right  = 26
)

// fontSize of all text, in the drawing's units.
const fontSize = 12

// A legend's items stand so far apart, also line from line, on lines so wide: the
// library's widths of text are estimates.
const (
	legendGap   = 12
	legendPad   = 16
	legendWidth = width - 60
	legendLine  = 12 + legendGap
)

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
	if p.Chart != "rows" && p.Chart != "shares" {
		tall += headroom(option, look)
	}
	series, _ := option["series"].([]any)
	for _, one := range series {
		bare(one.(map[string]any))
	}
	// As in the tables, with as many decimals as a tick may have.
	svg, err := r.svg(option, width, tall, func(x float64) string { return look.Format.Number(x, 6) })
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
		legends["itemGap"] = legendGap
		legends["width"] = legendWidth
		// Spaces that do not collapse: room for letters wider than the library thinks.
		legends["formatter"] = "{name}\u00a0\u00a0"
	}
	axis(out, "xAxis", map[string]any{"nameTextStyle": map[string]any{"color": ink}, "splitLine": map[string]any{"lineStyle": map[string]any{"color": gridLine}}})
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
			// The legend shows the line as it is drawn: without a sign where it has none.
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

func common(p figure.Panel, legend bool) []charts.GlobalOpts {
	bottom := "28"
	if p.XTitle != "" {
		bottom = "46"
	}
	return []charts.GlobalOpts{
		charts.WithAnimation(false),
		charts.WithColorsOpts(opts.Colors(hues)),
		charts.WithLegendOpts(opts.Legend{Show: opts.Bool(legend), Left: "8", Top: "0", TextStyle: &opts.TextStyle{Color: ink, FontSize: fontSize}, ItemWidth: 22, ItemHeight: 12}),
		charts.WithGridOpts(opts.Grid{Left: strconv.Itoa(left), Right: strconv.Itoa(right), Top: "34", Bottom: bottom}),
		charts.WithXAxisOpts(opts.XAxis{Type: "category", Name: shorten(p.XTitle, longest), NameLocation: "middle", NameGap: 30, AxisLabel: &opts.AxisLabel{Color: ink, FontSize: fontSize}}),
		charts.WithYAxisOpts(opts.YAxis{Type: "value", Name: shorten(p.Unit, longest), AxisLabel: &opts.AxisLabel{Color: ink, FontSize: fontSize}, SplitLine: &opts.SplitLine{Show: opts.Bool(true), LineStyle: &opts.LineStyle{Color: gridLine}}}),
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
	stubs := barSeries(bar, f, p, look, "top")
	bar.Validate()
	option, err := plain(bar.JSON())
	if err != nil {
		return nil, err
	}
	axis(option, "yAxis", map[string]any{"minInterval": 1, "nameTextStyle": upright})
	axis(option, "xAxis", map[string]any{"axisTick": map[string]any{"alignWithLabel": true}})
	dressed(option, p, stubs)
	option["legend"].(map[string]any)["show"] = len(p.Y) > 1 || stubs >= 0
	if f.Points[f.Index(p.X)].Kind == figure.Label && p.Chart != "histogram" && len(f.Rows) > 0 {
		// Every bar bears its name, on two lines where it is long.
		room := (width - left - right) / len(f.Rows)
		letters := room * 3 / 4 / 8 * 2
		if room < 40 {
			letters = 4
		}
		for _, list := range option["xAxis"].([]any) {
			names, _ := list.(map[string]any)["data"].([]any)
			for i, name := range names {
				if text, ok := name.(string); ok {
					names[i] = halved(shorten(text, letters), room/7)
				}
			}
		}
		axis(option, "xAxis", map[string]any{"nameGap": 42, "axisLabel": map[string]any{"color": ink, "fontSize": fontSize, "interval": 0, "overflow": "break", "width": wordRoom(option, room)}})
		if grids, ok := option["grid"].([]any); ok {
			grids[0].(map[string]any)["bottom"] = 40
			if p.XTitle != "" {
				grids[0].(map[string]any)["bottom"] = 64
			}
		}
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
			seriesList[0].(map[string]any)["markArea"] = map[string]any{
				"silent": true, "itemStyle": map[string]any{"color": "rgba(0,158,115,0.13)", "borderColor": lineHues[2], "borderWidth": 1, "borderType": "dashed"},
				"label": map[string]any{"color": ink, "fontSize": fontSize, "position": "top", "distance": 20},
				"data":  []any{[]any{map[string]any{"name": look.Format.Say("dose_band"), "x": edge(from, len(f.Rows))}, map[string]any{"x": edge(to, len(f.Rows))}}},
			}
		}
	}
	mark(option, f, p, look)
	return option, nil
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
	begins := make([]float64, len(f.Rows))
	for i, row := range f.Rows {
		begins[i], _ = row[low].Value.(float64)
	}
	place := func(x float64) float64 {
		i := 0
		for i < len(begins)-2 && begins[i+1] <= x {
			i++
		}
		return math.Max(0, math.Min(float64(len(begins)), float64(i)+(x-begins[i])/(begins[i+1]-begins[i])))
	}
	from, to = place(band[0]), place(band[1])
	return from, to, from < to
}

// mark draws the interventions on a chart by month: a dashed line, its name over
// the picture so that it lies over no bar.
func mark(option map[string]any, f *figure.Figure, p figure.Panel, look Look) {
	x := f.Index(p.X)
	if f.Points[x].Kind != figure.Month {
		return
	}
	var data []any
	series, _ := option["series"].([]any)
	for _, one := range look.Interventions {
		for i, row := range f.Rows {
			if row[x].Value == one.Month {
				aside(series, i)
				// The name runs towards the middle of the picture.
				align := "left"
				if 2*i > len(f.Rows) {
					align = "right"
				}
				data = append(data, map[string]any{"xAxis": i, "name": shorten(one.Name, 38),
					"label": map[string]any{"align": align, "distance": 20 + nameHeight*(len(data)%nameRows)}})
			}
		}
	}
	if len(series) > 0 && len(data) > 0 {
		series[0].(map[string]any)["markLine"] = map[string]any{"silent": true, "symbol": "none", "data": data,
			"lineStyle": map[string]any{"color": ink, "type": "dashed"},
			"label":     map[string]any{"formatter": "{b}", "color": ink, "fontSize": fontSize, "position": "end"}}
	}
}

// aside moves the question mark of a row, where it has one, off the line of an
// intervention, which stands in the middle of its bar.
func aside(series []any, row int) {
	for _, one := range series {
		points, _ := one.(map[string]any)["data"].([]any)
		if row >= len(points) {
			continue
		}
		if point, ok := points[row].(map[string]any); ok {
			if label, ok := point["label"].(map[string]any); ok {
				label["offset"] = []int{8, 0}
			}
		}
	}
}

// Names of interventions stand in so many rows over the picture, each so high.
const (
	nameRows   = 3
	nameHeight = 15
)

// headroom makes room over the picture for the legend's lines and the names of
// the interventions, and says how much. Widths of text are estimates, on the safe
// side.
func headroom(option map[string]any, look Look) (more int) {
	series, _ := option["series"].([]any)
	x := 0
	if legend, _ := option["legend"].(map[string]any); legend["show"] == true {
		more += legendLine
		seen := map[any]bool{}
		var items []any
		for _, s := range series {
			m := s.(map[string]any)
			name, _ := m["name"].(string)
			if seen[name] || name == "" {
				continue
			}
			seen[name] = true
			item := map[string]any{"name": name}
			if m["type"] == "boxplot" {
				// The library would fill it with the hue of the outline.
				item["icon"], item["itemStyle"] = "rect", m["itemStyle"]
			}
			if m["symbol"] == "none" {
				// The library would show a line without signs with one.
				item["icon"] = "path://M0 5h22v1.6h-22z"
				switch style, _ := m["lineStyle"].(map[string]any); style["type"] {
				case "dashed":
					item["icon"] = "path://M0 5h5v1.6h-5z M8.5 5h5v1.6h-5z M17 5h5v1.6h-5z"
				case "dotted":
					item["icon"] = "path://M0 5h2v2h-2z M5 5h2v2h-2z M10 5h2v2h-2z M15 5h2v2h-2z M20 5h2v2h-2z"
				}
			}
			items = append(items, item)
			w := 22 + 5 + 7*len([]rune(name)) + legendPad
			if x > 0 && x+w > legendWidth {
				more, x = more+legendLine, 0
			}
			x += w + legendGap
		}
		legend["data"] = items
	}
	if len(series) > 0 {
		if line, ok := series[0].(map[string]any)["markLine"].(map[string]any); ok && len(look.Interventions) > 0 {
			names, _ := line["data"].([]any)
			more += nameHeight * min(nameRows, len(names))
		}
	}
	if len(series) > 0 {
		if label, _ := series[0].(map[string]any)["label"].(map[string]any); label["position"] == "top" {
			// The name of the axis stands over the number on the tallest bar.
			axis(option, "yAxis", map[string]any{"nameGap": 22})
			more += 8
		}
	}
	if len(look.Band) > 0 {
		more += nameHeight + 4 // The band's name stands over the numbers on the bars.
	}
	if grids, ok := option["grid"].([]any); ok {
		grids[0].(map[string]any)["top"] = 30 + more
	}
	return more
}

// round keeps bytes short and the same on every machine.
func round(x float64) float64 { return math.Round(x*100) / 100 }
