package chart

import (
	"math"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"thawline/internal/figure"
)

const (
	// largestBubble is how wide the circle of the largest count is, and leastBubble that of
	// a small one at the least: a row of circles is 30 units high.
	largestBubble, leastBubble = 28, 5
	// besideBands is how far the axis reaches beyond the middles of the first and the last
	// band, as a part of what lies between two: to their edges, where its numbers stand.
	besideBands = 0.5
)

// bubbles draws counts as circles, a row of the figure at its place x and column k of y
// at k+1, as large as the count that stands beside it; with a line at each of the panel's
// Equal, where x times that, over the answer's Bag, is y. What is hidden is an open
// diamond of one size, and a nought nothing.
func bubbles(f *figure.Figure, p figure.Panel, look Look) (map[string]any, error) {
	x := f.Index(p.X)
	var largest float64
	var places []float64
	for _, row := range f.Rows {
		at, _ := row[x].Value.(float64)
		places = append(places, at)
		for _, name := range p.Y {
			if n, ok := number(row[f.Index(name)]); ok {
				largest = math.Max(largest, n)
			}
		}
	}
	var shown, hidden []opts.ScatterData
	for r, row := range f.Rows {
		for k, name := range p.Y {
			c := row[f.Index(name)]
			n, ok := number(c)
			switch at := []any{places[r], k + 1}; {
			case c.Hidden:
				hidden = append(hidden, opts.ScatterData{Value: at})
			case ok && n > 0:
				size := math.Max(leastBubble, largestBubble*math.Sqrt(n/largest))
				shown = append(shown, opts.ScatterData{Name: look.Format.Whole(int64(n)), Value: at, SymbolSize: int(math.Round(size))})
			}
		}
	}
	scatter := charts.NewScatter()
	scatter.SetGlobalOptions(common(p, true)...)
	scatter.AddSeries(look.Format.Say("legend_bubbles"), shown, charts.WithScatterChartOpts(opts.ScatterChart{Symbol: "circle"}), charts.WithItemStyleOpts(opts.ItemStyle{Color: lineHues[0]}),
		charts.WithLabelOpts(opts.Label{Show: opts.Bool(true), Position: "right", Formatter: "{b}", Color: ink, FontSize: fontSize}))
	if len(hidden) > 0 {
		scatter.AddSeries(look.Hidden, hidden, charts.WithScatterChartOpts(opts.ScatterChart{Symbol: "emptyDiamond", SymbolSize: 9}), charts.WithItemStyleOpts(opts.ItemStyle{Color: lineHues[4]}))
	}
	from, to := places[0], places[len(places)-1]
	step := 1.0
	if len(places) > 1 {
		step = (to - from) / float64(len(places)-1)
	}
	from, to = from-besideBands*step, to+besideBands*step
	top := float64(len(p.Y)) + 1
	line := charts.NewLine()
	if bag, ok := f.Values[p.Bag].Value.(float64); ok && bag > 0 {
		for k, dose := range p.Equal {
			// A line ends where it leaves the picture.
			end := math.Min(to, top*bag/dose)
			data := []opts.LineData{{Symbol: "none", Value: []any{round(from), round(from * dose / bag)}}, {Symbol: "none", Value: []any{round(end), round(end * dose / bag)}}}
			line.AddSeries(look.Format.Say("legend_dose", look.Format.Number(dose, 1)), data, charts.WithLineStyleOpts(opts.LineStyle{Color: ink, Width: 1, Type: strokes[k%len(strokes)]}), charts.WithItemStyleOpts(opts.ItemStyle{Color: ink}))
		}
	}
	scatter.Overlap(line)
	scatter.Validate()
	option, err := plain(scatter.JSON())
	if err != nil {
		return nil, err
	}
	if series, _ := option["series"].([]any); len(series) > 0 {
		// In the legend a circle of a middling size.
		first := series[0].(map[string]any)
		first["symbolSize"], first["z"] = largestBubble/2, 5
		// A line that crosses a number goes under it.
		label := first["label"].(map[string]any)
		label["backgroundColor"], label["padding"] = paper, 1
	}
	axis(option, "xAxis", map[string]any{"type": "value", "min": round(from), "max": round(to), "interval": step, "data": nil})
	axis(option, "yAxis", map[string]any{"min": 0, "max": top, "interval": 1})
	return option, nil
}
