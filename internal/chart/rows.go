package chart

import (
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
	// The axes change places; the first row stands on top.
	option["xAxis"], option["yAxis"] = option["yAxis"], option["xAxis"]
	axis(option, "xAxis", map[string]any{"name": p.Unit, "nameLocation": "middle", "nameGap": 26, "nameTextStyle": map[string]any{"color": ink}, "minInterval": 1})
	axis(option, "yAxis", map[string]any{"name": "", "inverse": true, "axisTick": map[string]any{"show": false}})
	longest := 0
	for _, label := range categories(f, p, look.Format) {
		longest = max(longest, len([]rune(label)))
	}
	top := 12
	if len(p.Y) > 1 {
		top = 40
	}
	if len(p.Y) > 6 {
		top = 66
	}
	tall = top + 46 + 30*max(2, len(f.Rows))
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
	return option, tall, nil
}
