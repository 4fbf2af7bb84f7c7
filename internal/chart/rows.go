package chart

import (
	"math"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"thawline/internal/figure"
)

// rows draws lying bars, a row of the figure each, for labels too long to stand
// under a bar; several columns of y are stacked. It says how tall it is.
func rows(f *figure.Figure, p figure.Panel, look Look) (option map[string]any, tall int, err error) {
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
				data[r].Value = nil
			}
		}
		series := []charts.SeriesOpts{charts.WithItemStyleOpts(opts.ItemStyle{BorderColor: "#ffffff", BorderWidth: 0.5})}
		if len(p.Y) > 1 {
			series = append(series, charts.WithBarChartOpts(opts.BarChart{Stack: "all"}))
		} else {
			series = append(series, charts.WithLabelOpts(opts.Label{Show: opts.Bool(true), Position: "right", Color: ink, FontSize: 11}))
		}
		bar.AddSeries(f.Points[i].Title, data, series...)
	}
	bar.Validate()
	if option, err = plain(bar.JSON()); err != nil {
		return nil, 0, err
	}
	lie(option, p)
	axis(option, "xAxis", map[string]any{"minInterval": 1})
	return option, lying(option, f, p, look, len(p.Y) > 1), nil
}

// lie lets the axes change places; the first row stands on top.
func lie(option map[string]any, p figure.Panel) {
	option["xAxis"], option["yAxis"] = option["yAxis"], option["xAxis"]
	axis(option, "xAxis", map[string]any{"name": p.Unit, "nameLocation": "middle", "nameGap": 26, "nameTextStyle": map[string]any{"color": ink}})
	axis(option, "yAxis", map[string]any{"name": "", "inverse": true, "axisTick": map[string]any{"show": false}})
}

// lying makes room for the labels at the left of lying bars, and for a legend
// over them, and says how tall the drawing is.
func lying(option map[string]any, f *figure.Figure, p figure.Panel, look Look, legend bool) int {
	longest := 0
	for _, label := range categories(f, p, look.Format) {
		longest = max(longest, len([]rune(label)))
	}
	top := 12
	if legend {
		top = 40
	}
	if len(p.Y) > 6 {
		top = 66
	}
	if grids, ok := option["grid"].([]any); ok {
		// Labels of 11 px take about 6.4 px a letter.
		grids[0].(map[string]any)["left"] = min(330, 24+longest*64/10)
		grids[0].(map[string]any)["right"] = 40
		grids[0].(map[string]any)["top"] = top
	}
	series, _ := option["series"].([]any)
	for _, s := range series {
		s.(map[string]any)["barCategoryGap"] = "28%"
	}
	return top + 46 + 30*max(2, len(f.Rows))
}

// shares draws the share of the first column of y in the second for each row, a
// point on its 95 % interval.
func shares(f *figure.Figure, p figure.Panel, look Look) (option map[string]any, tall int, err error) {
	n, of := f.Index(p.Y[0]), f.Index(p.Y[1])
	before, within := make([]opts.BarData, len(f.Rows)), make([]opts.BarData, len(f.Rows))
	points := make([]opts.ScatterData, len(f.Rows))
	for r, row := range f.Rows {
		// A hidden cell has no interval: nothing of it reaches the drawing.
		i := look.Intervals[r]
		if math.IsNaN(i.Low) {
			continue
		}
		a, b := row[n].Value.(int64), row[of].Value.(int64)
		share := float64(a) / float64(b)
		before[r].Value = round(100 * i.Low)
		within[r].Value = round(100*i.High) - round(100*i.Low)
		points[r] = opts.ScatterData{Name: look.Format.Percent(share), Value: round(100 * share)}
	}
	bar := charts.NewBar()
	bar.SetGlobalOptions(common(p, true)...)
	bar.SetXAxis(categories(f, p, look.Format))
	bar.AddSeries("", before, charts.WithBarChartOpts(opts.BarChart{Stack: "all"}), charts.WithItemStyleOpts(opts.ItemStyle{Color: "rgba(0,0,0,0)"}))
	bar.AddSeries(look.Format.Say("interval_95"), within, charts.WithBarChartOpts(opts.BarChart{Stack: "all"}), charts.WithItemStyleOpts(opts.ItemStyle{Color: "#d6e6f2", BorderColor: hues[0], BorderWidth: 1}))
	scatter := charts.NewScatter()
	scatter.AddSeries(p.Unit, points, charts.WithScatterChartOpts(opts.ScatterChart{Symbol: "diamond", SymbolSize: 11}), charts.WithItemStyleOpts(opts.ItemStyle{Color: hues[0]}),
		charts.WithLabelOpts(opts.Label{Show: opts.Bool(true), Position: "right", Formatter: "{b}", Color: ink, FontSize: 11}))
	bar.Overlap(scatter)
	bar.Validate()
	if option, err = plain(bar.JSON()); err != nil {
		return nil, 0, err
	}
	// Patterns part the series of other charts; an interval is no count.
	option["aria"].(map[string]any)["decal"] = map[string]any{"show": false}
	lie(option, p)
	axis(option, "xAxis", map[string]any{"min": 0, "max": 100, "axisLabel": map[string]any{"formatter": "{value} %", "color": ink, "fontSize": 11}})
	series, _ := option["series"].([]any)
	for _, one := range series {
		s := one.(map[string]any)
		if s["type"] != "scatter" {
			continue
		}
		// On changed axes the place of a point is its share and its row.
		for r, point := range s["data"].([]any) {
			if p := point.(map[string]any); p["value"] != nil {
				p["value"] = []any{p["value"], r}
			}
		}
		s["label"].(map[string]any)["distance"] = 36
	}
	return option, lying(option, f, p, look, true), nil
}
