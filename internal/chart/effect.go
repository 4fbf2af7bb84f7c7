package chart

import (
	"math"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"thawline/internal/figure"
)

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
	}{{"after", look.Format.Say("median_after"), "circle", 13}, {"low", look.Format.Say("lower_quartile"), "triangle", 9}, {"high", look.Format.Say("upper_quartile"), "diamond", 9}, {"expected", look.Format.Say("expected_published"), "emptyCircle", 13}} {
		scatter.AddSeries(one.title, column(one.name), charts.WithScatterChartOpts(opts.ScatterChart{Symbol: one.symbol, SymbolSize: one.size}), charts.WithItemStyleOpts(opts.ItemStyle{Color: lineHues[[]int{0, 0, 0, 1}[i]]}))
	}
	scatter.Validate()
	option, err := plain(scatter.JSON())
	if err != nil {
		return nil, err
	}
	axis(option, "xAxis", map[string]any{"type": "value", "min": 1, "max": top, "data": nil})
	axis(option, "yAxis", map[string]any{"min": 1, "max": top})
	if series, _ := option["series"].([]any); len(series) > 0 {
		series[0].(map[string]any)["markLine"] = map[string]any{"silent": true, "symbol": "none",
			"lineStyle": map[string]any{"color": ink, "type": "dashed"},
			"label":     map[string]any{"formatter": "{b}", "color": ink, "position": "insideMiddleTop"},
			"data":      []any{[]any{map[string]any{"coord": []float64{1, 1}, "name": look.Format.Say("no_change")}, map[string]any{"coord": []float64{top, top}}}}}
	}
	return option, nil
}
