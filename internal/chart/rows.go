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
	bar.SetGlobalOptions(common(p, true)...)
	bar.SetXAxis(categories(f, p, look.Format))
	barSeries(bar, f, p, "right")
	bar.Validate()
	if option, err = plain(bar.JSON()); err != nil {
		return nil, 0, err
	}
	dressed(option, p)
	lie(option)
	all := stacksOf(f, p)
	if all.lowest >= 0 {
		top, step := all.top(1)
		axis(option, "xAxis", map[string]any{"min": 0, "max": top, "interval": step})
	}
	all.pieces(option, look)
	option["legend"].(map[string]any)["show"] = len(option["series"].([]any)) > 1
	all.words(option, look)
	return option, lying(option, f, p, look), nil
}

// lie lets the axes change places; the first row stands on top.
func lie(option map[string]any) {
	option["xAxis"], option["yAxis"] = option["yAxis"], option["xAxis"]
	axis(option, "yAxis", map[string]any{"inverse": true, "axisTick": map[string]any{"show": false}})
}

// lying makes room for the labels at the left of lying bars, and says how tall the
// drawing is.
func lying(option map[string]any, f *figure.Figure, p figure.Panel, look Look) int {
	letters := 0
	for _, label := range categories(f, p, look.Format) {
		letters = max(letters, len([]rune(label)))
	}
	// Letters take about 7 units each; long labels take more lines. The library
	// thinks letters narrower than some fonts have them: it breaks lines early.
	labels := min(200, 8+7*letters)
	axis(option, "yAxis", map[string]any{"axisLabel": map[string]any{"color": ink, "fontSize": fontSize, "width": labels * 3 / 4, "overflow": "break", "lineHeight": fontSize + 1}})
	if grids, ok := option["grid"].([]any); ok {
		grids[0].(map[string]any)["left"] = labels + 14
		grids[0].(map[string]any)["right"] = 40
		grids[0].(map[string]any)["top"] = lyingTop
		grids[0].(map[string]any)["bottom"] = footHeight
	}
	each := 32
	if letters > 2*labelLine {
		each = 42
	}
	return lyingTop + footHeight + each*max(2, len(f.Rows))
}

// lyingTop is what stands over lying bars.
const lyingTop = 6

// labelLine is how many letters of a label stand on one line beside lying bars; a
// longer label takes two lines, and three where that is not enough.
const labelLine = 22

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
	bar.AddSeries(look.Format.Say("interval_95"), within, charts.WithBarChartOpts(opts.BarChart{Stack: "all"}), charts.WithItemStyleOpts(opts.ItemStyle{Color: "#d6e6f2", BorderColor: lineHues[0], BorderWidth: 1}))
	scatter := charts.NewScatter()
	scatter.AddSeries(p.Unit, points, charts.WithScatterChartOpts(opts.ScatterChart{Symbol: "diamond", SymbolSize: 11}), charts.WithItemStyleOpts(opts.ItemStyle{Color: lineHues[0]}),
		charts.WithLabelOpts(opts.Label{Show: opts.Bool(true), Position: "right", Formatter: "{b}", Color: ink, FontSize: fontSize}))
	bar.Overlap(scatter)
	bar.Validate()
	if option, err = plain(bar.JSON()); err != nil {
		return nil, 0, err
	}
	lie(option)
	axis(option, "xAxis", map[string]any{"min": 0, "max": 100, "axisLabel": map[string]any{"formatter": "{value} %", "color": ink, "fontSize": fontSize}})
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
	withSeries(option, len(f.Rows), func(r int) (any, bool) {
		return hiddenWord(look.Hidden), f.Rows[r][n].Hidden || f.Rows[r][of].Hidden
	}, hiddenWords())
	return option, lying(option, f, p, look), nil
}
