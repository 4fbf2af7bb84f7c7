package chart

import (
	"math"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"thawline/internal/figure"
)

// limitSteps bounds the points of a limit's line: every size up to it, then
// steps that grow with the size, as the line flattens.
const limitSteps = 40

// funnel draws each row's share against its size, with the limits around the
// whole's own share. Rows outside the outer limits bear their name, where it lies
// over no other name; the note and the table name them all.
func funnel(f *figure.Figure, p figure.Panel, look Look) (map[string]any, error) {
	label, n, of, outside := f.Index(p.X), f.Index(p.Y[0]), f.Index(p.Y[1]), f.Index("outside")
	largest := 10.0
	var inside, out []opts.ScatterData
	for _, row := range f.Rows {
		x, okX := row[n].Value.(int64)
		size, okSize := row[of].Value.(int64)
		if !okX || !okSize || size == 0 {
			continue
		}
		largest = math.Max(largest, float64(size))
		name, _ := row[label].Value.(string)
		if outside < 0 || row[outside].Value != look.Format.Say("limit_998") {
			name = ""
		}
		point := opts.ScatterData{Name: shorten(name, 30), Value: []any{size, round(100 * float64(x) / float64(size))}}
		if outside >= 0 && row[outside].Value != nil {
			out = append(out, point)
		} else {
			inside = append(inside, point)
		}
	}
	largest, step := topOf(largest * 1.05)
	scatter := charts.NewScatter()
	scatter.SetGlobalOptions(common(p, true)...)
	scatter.AddSeries(look.Format.Say("within_limits"), inside, charts.WithScatterChartOpts(opts.ScatterChart{Symbol: "circle", SymbolSize: 10}), charts.WithItemStyleOpts(opts.ItemStyle{Color: lineHues[0]}))
	scatter.AddSeries(look.Format.Say("outside_limits"), out, charts.WithScatterChartOpts(opts.ScatterChart{Symbol: "diamond", SymbolSize: 14}), charts.WithItemStyleOpts(opts.ItemStyle{Color: lineHues[1]}),
		charts.WithLabelOpts(opts.Label{Show: opts.Bool(true), Position: "top", Formatter: "{b}", Color: ink, FontSize: fontSize}))
	line := charts.NewLine()
	for _, one := range []struct {
		name, kind string
		low, high  float64
	}{{look.Format.Say("limits_95"), "solid", 0.025, 0.975}, {look.Format.Say("limits_998"), "dashed", 0.001, 0.999}} {
		for _, place := range []float64{one.low, one.high} {
			var data []opts.LineData
			for size := 1; size <= int(largest); size += 1 + size/limitSteps {
				data = append(data, opts.LineData{Symbol: "none", Value: []any{size, round(100 * look.Funnel.Share(size, place))}})
			}
			data = append(data, opts.LineData{Symbol: "none", Value: []any{largest, round(100 * look.Funnel.Share(int(largest), place))}})
			line.AddSeries(one.name, data, charts.WithLineStyleOpts(opts.LineStyle{Color: ink, Width: 1, Type: one.kind}), charts.WithItemStyleOpts(opts.ItemStyle{Color: ink}))
		}
	}
	line.AddSeries(look.Format.Say("whole_hospital"), []opts.LineData{{Symbol: "none", Value: []any{0, round(100 * look.Funnel.Target)}}, {Symbol: "none", Value: []any{largest, round(100 * look.Funnel.Target)}}},
		charts.WithLineStyleOpts(opts.LineStyle{Color: lineHues[2], Width: 2, Type: "dotted"}), charts.WithItemStyleOpts(opts.ItemStyle{Color: lineHues[2]}))
	scatter.Overlap(line)
	scatter.Validate()
	option, err := plain(scatter.JSON())
	if err != nil {
		return nil, err
	}
	if series, _ := option["series"].([]any); len(series) > 1 {
		// A name may lie over a limit's line.
		label := series[1].(map[string]any)["label"].(map[string]any)
		label["backgroundColor"], label["padding"] = paper, 1
		series[1].(map[string]any)["z"] = 5
		series[1].(map[string]any)["labelLayout"] = map[string]any{"hideOverlap": true}
		points, _ := series[1].(map[string]any)["data"].([]any)
		for _, one := range points {
			point := one.(map[string]any)
			at := point["value"].([]any)
			size, share := at[0].(float64), at[1].(float64)
			switch {
			case point["name"] == nil || point["name"] == "":
				// A name without letters would still be a white patch.
				point["label"] = map[string]any{"show": false}
			case share > 85 && size < largest/2:
				// Over the point stands the name of the axis.
				point["label"] = map[string]any{"position": "right"}
			case share > 85:
				point["label"] = map[string]any{"position": "left"}
			}
		}
	}
	axis(option, "xAxis", map[string]any{"type": "value", "min": 0, "max": largest, "interval": step, "data": nil})
	axis(option, "yAxis", map[string]any{"min": 0, "max": 100, "axisLabel": map[string]any{"formatter": "{value} %", "color": ink, "fontSize": fontSize},
		"nameTextStyle": upright})
	return option, nil
}
