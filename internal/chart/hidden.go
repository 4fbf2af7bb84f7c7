package chart

import (
	"math"
	"slices"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"thawline/internal/figure"
)

// What is hidden is drawn so that it can be taken for no value: among standing bars
// and points as a pale column over the whole height of the picture, in which the
// value ends or lies anywhere; beside lying bars as a word. Where the page tells how
// much the hidden parts of a bar are together, they are a piece of that length.

// sized is the style of a piece that is as long as the hidden parts are together.
var sized = map[string]any{"color": paper, "borderColor": ink, "borderWidth": 0.8, "borderType": "dashed",
	"decal": map[string]any{"symbol": "rect", "dashArrayX": []float64{1, 0}, "dashArrayY": []float64{1, 2.5}, "rotation": -math.Pi / 4, "color": ink}}

// open is the style of a column in which a value lies that is hidden: pale, since
// there may be many.
var open = map[string]any{"color": "#f4f6f8", "borderColor": soft, "borderWidth": 0.6,
	"decal": map[string]any{"symbol": "rect", "dashArrayX": []float64{1, 0}, "dashArrayY": []float64{0.8, 7}, "rotation": math.Pi / 4, "color": soft}}

// soft stands out from white by three to one and more.
const soft = "#7b8794"

// stacks are the bars of a chart, a row each.
type stacks struct {
	// shown is the sum of what is shown of a row, and rest what is hidden of it together,
	// as far as that is told. hidden says that not all is shown, open that more is hidden
	// than the rest.
	shown, rest  []float64
	hidden, open []bool
	// highest is the longest bar, lowest the least value.
	highest, lowest float64
	// counted says that every value is a whole number.
	counted bool
}

func stacksOf(f *figure.Figure, p figure.Panel) stacks {
	n := len(f.Rows)
	s := stacks{shown: make([]float64, n), rest: make([]float64, n), hidden: make([]bool, n), open: make([]bool, n), counted: true}
	for _, name := range p.Y {
		kind := f.Points[f.Index(name)].Kind
		s.counted = s.counted && (kind == figure.Count || kind == figure.Units)
	}
	for r, row := range f.Rows {
		for _, name := range p.Y {
			c := row[f.Index(name)]
			if x, ok := number(c); ok {
				s.shown[r] += x
				s.lowest = math.Min(s.lowest, x)
			}
			s.hidden[r] = s.hidden[r] || c.Hidden
		}
		s.open[r] = s.hidden[r]
		if rest, all := f.Rest(r); s.hidden[r] && whole(f, p) {
			s.rest[r], s.open[r] = float64(rest), !all
		}
		s.highest = math.Max(s.highest, s.shown[r]+s.rest[r])
	}
	return s
}

// whole says that a panel stacks every count of its figure, but for their total.
func whole(f *figure.Figure, p figure.Panel) bool {
	for _, c := range f.Points {
		if c.Kind == figure.Count && c.Name != f.Total && !slices.Contains(p.Y, c.Name) {
			return false
		}
	}
	return true
}

// fewest is what the axis of counts reaches to at the least: a bar of one is small.
const fewest = 5

// top is the end of the axis over the bars, and the step of its ticks. room is how
// much higher than the highest bar it must be.
func (s stacks) top(room float64) (top, step float64) {
	highest := room * s.highest
	if s.counted {
		highest = math.Max(highest, fewest)
	}
	return topOf(highest)
}

// barSeries adds a series for each column of y.
func barSeries(bar *charts.Bar, f *figure.Figure, p figure.Panel, numbers string) {
	for _, name := range p.Y {
		i := f.Index(name)
		data := make([]opts.BarData, len(f.Rows))
		for r, row := range f.Rows {
			// A hidden cell has no value: nothing of it reaches the drawing.
			data[r] = opts.BarData{Value: row[i].Value}
			if row[i].Value == int64(0) {
				// No bar and no label on it; the table has the zero.
				data[r].Value = nil
			}
		}
		series := []charts.SeriesOpts{charts.WithBarChartOpts(opts.BarChart{Stack: "all"})}
		if len(p.Y) == 1 {
			series = append(series, charts.WithLabelOpts(opts.Label{Show: opts.Bool(true), Position: numbers, Color: ink, FontSize: fontSize}))
		}
		bar.AddSeries(f.Points[i].Title, data, series...)
	}
}

// withSeries adds a series of n bars, of which some have a length, where any has.
func withSeries(option map[string]any, n int, length func(r int) (any, bool), series map[string]any) {
	data, some := make([]any, n), false
	for r := range data {
		data[r] = noPoint
		if x, ok := length(r); ok {
			data[r], some = x, true
		} else if n >= thinBars {
			data[r] = 0 // See bare.
		}
	}
	if !some {
		return
	}
	series["type"], series["data"] = "bar", data
	if n >= thinBars {
		series["large"], series["largeThreshold"] = true, 0
	}
	all, _ := option["series"].([]any)
	option["series"] = append(all, series)
}

// pieces adds to bars what is hidden of them, where its length is told.
func (s stacks) pieces(option map[string]any, look Look) {
	withSeries(option, len(s.hidden), func(r int) (any, bool) { return s.rest[r], s.rest[r] > 0 },
		map[string]any{"name": look.Sized, "stack": "all", "itemStyle": sized, "barCategoryGap": barGap, "barMaxWidth": 64})
}

// columns adds to standing bars, over what is told of each, the column in which it
// ends.
func (s stacks) columns(option map[string]any, look Look, top float64) {
	withSeries(option, len(s.hidden), func(r int) (any, bool) { return round(top - s.shown[r] - s.rest[r]), s.open[r] },
		map[string]any{"name": look.Open, "stack": "all", "itemStyle": open, "barCategoryGap": barGap, "barMaxWidth": 64})
}

// words writes at the end of lying bars that something of them is hidden.
func (s stacks) words(option map[string]any, look Look) {
	withSeries(option, len(s.hidden), func(r int) (any, bool) {
		word := look.Hidden
		if s.shown[r]+s.rest[r] > 0 {
			word = look.Format.Say("more_hidden")
		}
		return hiddenWord(word), s.open[r]
	}, hiddenWords())
}

// hiddenWord is a bar of no length with a word beside it, for a series of
// hiddenWords.
func hiddenWord(word string) map[string]any {
	return map[string]any{"value": 0, "label": map[string]any{"formatter": word}}
}

func hiddenWords() map[string]any {
	return map[string]any{"stack": "all", "itemStyle": map[string]any{"color": "transparent", "borderWidth": 0},
		"label": map[string]any{"show": true, "position": "right", "formatter": "", "color": ink, "fontSize": fontSize, "fontStyle": "italic"}}
}

// columns adds to points and lines a column, from one end of the axis to the other,
// in each row of which a value is hidden.
func columns(option map[string]any, f *figure.Figure, y []string, look Look, top float64) {
	withSeries(option, len(f.Rows), func(r int) (any, bool) {
		return top, slices.ContainsFunc(y, func(name string) bool { i := f.Index(name); return i >= 0 && f.Rows[r][i].Hidden })
	}, map[string]any{"name": look.Open, "itemStyle": open, "barCategoryGap": "10%", "z": 1})
}

// noValue says that nothing is above nought: an axis needs an end all the same.
func noValue(highest float64) float64 {
	if highest <= 0 {
		return 1
	}
	return highest
}
