package chart

import (
	"math"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"thawline/internal/figure"
)

// number is a cell's number; ok is false where there is none or it is hidden.
func number(c figure.Cell) (x float64, ok bool) {
	switch v := c.Value.(type) {
	case float64:
		return v, true
	case int64:
		return float64(v), true
	}
	return math.NaN(), false
}

// boxWidth is how wide a box is at the most: beside it there is room for a number.
const boxWidth = 36

// quartiles draws a box from the lower to the upper quartile with the median in
// it, for each row; y names lower quartile, median, upper quartile and, where
// there is one, a limit or an expected value. No whisker: ends of a distribution are single patients.
func quartiles(f *figure.Figure, p figure.Panel, look Look) (map[string]any, error) {
	low, median, high := f.Index(p.Y[0]), f.Index(p.Y[1]), f.Index(p.Y[2])
	boxes := make([]opts.BoxPlotData, len(f.Rows))
	medians := make([]opts.ScatterData, len(f.Rows))
	limits := make([]opts.ScatterData, len(f.Rows))
	limited, lowest, highest := false, 0.0, 0.0
	written := f.Cells(median, look.Format)
	for i, row := range f.Rows {
		boxes[i] = opts.BoxPlotData{Value: nil}
		medians[i], limits[i] = opts.ScatterData{}, opts.ScatterData{}
		a, okA := number(row[low])
		b, okB := number(row[median])
		c, okC := number(row[high])
		if okA && okB && okC {
			lowest, highest = math.Min(lowest, a), math.Max(highest, c)
			boxes[i].Value = []float64{round(a), round(a), round(b), round(c), round(c)}
			medians[i] = opts.ScatterData{Name: written[i], Value: round(b)}
		}
		if len(p.Y) > 3 {
			if l, ok := number(row[f.Index(p.Y[3])]); ok {
				limits[i].Value, limited = round(l), true
				lowest, highest = math.Min(lowest, l), math.Max(highest, l)
			}
		}
	}
	box := charts.NewBoxPlot()
	box.SetGlobalOptions(common(p, true)...)
	box.SetXAxis(categories(f, p, look.Format))
	box.AddSeries(look.Format.Say("quartile_range"), boxes, charts.WithItemStyleOpts(opts.ItemStyle{Color: "#d6e6f2", BorderColor: lineHues[0], BorderWidth: 1.5}))
	scatter := charts.NewScatter()
	scatter.AddSeries(look.Format.Say("median"), medians, charts.WithScatterChartOpts(opts.ScatterChart{Symbol: "diamond", SymbolSize: 11}), charts.WithItemStyleOpts(opts.ItemStyle{Color: lineHues[0]}),
		charts.WithLabelOpts(opts.Label{Show: opts.Bool(true), Position: "right", Formatter: "{b}", Color: ink, FontSize: fontSize}))
	if limited {
		scatter.AddSeries(f.Points[f.Index(p.Y[3])].Title, limits, charts.WithScatterChartOpts(opts.ScatterChart{Symbol: "triangle", SymbolSize: 12}), charts.WithItemStyleOpts(opts.ItemStyle{Color: lineHues[1]}))
	}
	box.Overlap(scatter)
	box.Validate()
	option, err := plain(box.JSON())
	if err != nil {
		return nil, err
	}
	if series, _ := option["series"].([]any); len(series) > 1 {
		series[0].(map[string]any)["boxWidth"] = []int{7, boxWidth}
		// Beside the box, not in it.
		series[1].(map[string]any)["label"].(map[string]any)["distance"] = boxWidth/2 + 2
	}
	bottom, top, step := ends(lowest, highest)
	set := map[string]any{"min": bottom, "max": top, "interval": step}
	axis(option, "xAxis", map[string]any{"axisTick": map[string]any{"alignWithLabel": true}})
	if bottom < 0 {
		// Labels and columns stand on the foot of the picture, not at zero.
		set["startValue"] = bottom
		axis(option, "xAxis", map[string]any{"axisLine": map[string]any{"onZero": false}})
	}
	if names := categories(f, p, look.Format); wideNames(names, len(names)) {
		namesUnder(option, len(names))
	}
	axis(option, "yAxis", set)
	columns(option, f, p.Y, look, top)
	return option, nil
}
