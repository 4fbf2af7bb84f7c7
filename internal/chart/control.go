package chart

import (
	"math"
	"slices"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"thawline/internal/figure"
)

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
	name, lines := look.Format.Say("legend_share"), 100.0
	switch {
	case len(p.Y) == 1:
		name, lines = f.Points[f.Index(p.Y[0])].Title, 1
	case p.Per > 0:
		name, lines = look.Format.Say("legend_rate"), 1
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
		for i := range l.Upper {
			if !math.IsNaN(l.Upper[i]) {
				highest = math.Max(highest, lines*l.Upper[i])
			}
		}
		for _, one := range []struct {
			name, kind, step string
			values           []float64
		}{{look.Format.Say("legend_centre"), "solid", "", l.Centre}, {look.Format.Say("legend_limits"), "dashed", "middle", l.Lower}, {look.Format.Say("legend_limits"), "dashed", "middle", l.Upper}} {
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
	set := map[string]any{"min": 0}
	highest = noValue(highest)
	if lines == 100 {
		highest = math.Min(100, math.Max(10, highest))
	}
	top, step := topOf(highest)
	set["max"], set["interval"] = top, step
	if lines == 100 {
		set["axisLabel"] = map[string]any{"formatter": "{value} %", "color": ink, "fontSize": fontSize}
	}
	axis(option, "yAxis", set)
	mark(option, f, p, look)
	signs(option, look)
	columns(option, f, p.Y, look, top)
	return option, nil
}

// signs says in the legend what a diamond is, where there is one: a series without
// points, for the diamonds are points of the line.
func signs(option map[string]any, look Look) {
	if look.Limits == nil || !slices.Contains(look.Limits.Signal, true) {
		return
	}
	series, _ := option["series"].([]any)
	option["series"] = append(series, map[string]any{"type": "scatter", "name": look.Format.Say("legend_signal"), "data": []any{}, "symbol": "diamond", "symbolSize": 13, "itemStyle": map[string]any{"color": hues[0], "opacity": 1}})
}

// topOf is the end of an axis from zero over a value, and the step of its ticks, of
// which the last stands at the end.
func topOf(highest float64) (top, step float64) {
	step = math.Pow(10, math.Floor(math.Log10(highest)))
	for _, part := range []float64{0.1, 0.2, 0.5, 1, 2} {
		if s := step * part; highest/s <= 7 {
			step = s
			break
		}
	}
	return round(step * math.Ceil(highest/step-1e-9)), round(step)
}

// ends are the ends of an axis over and under values and nought, and the step of its
// ticks.
func ends(lowest, highest float64) (bottom, top, step float64) {
	top, step = topOf(noValue(math.Max(highest, -lowest)))
	if lowest < 0 {
		return -round(step * math.Ceil(-lowest/step-1e-9)), round(step * math.Ceil(math.Max(highest, 0)/step-1e-9)), step
	}
	return 0, top, step
}
