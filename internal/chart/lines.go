package chart

import (
	"math"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"thawline/internal/figure"
)

// strokes and symbols tell lines apart without their hues.
var (
	strokes = []string{"solid", "dashed", "dotted", "solid", "dashed", "dotted"}
	symbols = []string{"circle", "triangle", "rect", "emptyCircle", "diamond", "emptyTriangle"}
)

// lines draws one line a column of y, shares in percent; a row without a value is
// a gap.
func lines(f *figure.Figure, p figure.Panel, look Look) (map[string]any, error) {
	line := charts.NewLine()
	line.SetGlobalOptions(common(p, true)...)
	line.SetXAxis(categories(f, p, look.Format))
	set := map[string]any{}
	highest, lowest, counted := 0.0, 0.0, true
	for k, name := range p.Y {
		i := f.Index(name)
		scale, kind := 1.0, f.Points[i].Kind
		counted = counted && (kind == figure.Count || kind == figure.Units)
		if kind == figure.Share {
			scale = 100
			set["axisLabel"] = map[string]any{"formatter": "{value} %", "color": ink, "fontSize": fontSize}
		}
		data, some := make([]opts.LineData, len(f.Rows)), false
		for r, row := range f.Rows {
			some = some || row[i].Value != nil || row[i].Hidden
			data[r] = opts.LineData{Symbol: symbols[k%len(symbols)], SymbolSize: 7}
			if v, ok := number(row[i]); ok {
				data[r].Value = round(scale * v)
				highest, lowest = math.Max(highest, scale*v), math.Min(lowest, scale*v)
			}
		}
		if !some {
			continue // Nothing of it is drawn, so the legend does not name it; the table does.
		}
		line.AddSeries(f.Points[i].Title, data, charts.WithLineStyleOpts(opts.LineStyle{Color: lineHues[k%len(lineHues)], Width: 2, Type: strokes[k%len(strokes)]}),
			charts.WithItemStyleOpts(opts.ItemStyle{Color: lineHues[k%len(lineHues)]}))
	}
	line.Validate()
	option, err := plain(line.JSON())
	if err != nil {
		return nil, err
	}
	if counted {
		highest = math.Max(highest, fewest)
	}
	bottom, top, step := ends(lowest, highest)
	set["min"], set["max"], set["interval"] = bottom, top, step
	if bottom < 0 {
		set["startValue"] = bottom
	}
	axis(option, "yAxis", set)
	mark(option, f, p, look)
	columns(option, f, p.Y, look, top)
	return option, nil
}
