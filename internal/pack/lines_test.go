package pack

import (
	"testing"

	"thawline/internal/figure"
)

// Shares of which none is shown are not drawn as crosses alone: words say why.
func TestHiddenSharesAreNotDrawn(t *testing.T) {
	in := &input{}
	shown, hidden := []figure.Cell{{Value: "one"}, {Value: int64(20)}, {Value: int64(40)}}, []figure.Cell{{Value: "two"}, {Hidden: true}, {Hidden: true}}
	for _, c := range []struct {
		rows   [][]figure.Cell
		hidden int
		wanted string
	}{
		{[][]figure.Cell{hidden, hidden}, 4, in.w("too_few_hidden")},
		{[][]figure.Cell{shown, hidden}, 2, ""},
		{[][]figure.Cell{{{Value: "none"}, {Value: int64(0)}, {Value: int64(0)}}}, 0, in.w("too_few")},
	} {
		f := &figure.Figure{Definition: &figure.Definition{Points: []figure.Column{{Name: "x", Kind: figure.Label}, {Name: "n", Kind: figure.Count}, {Name: "of", Kind: figure.Count}}}, HiddenCells: c.hidden}
		for _, row := range c.rows {
			f.Rows = append(f.Rows, append([]figure.Cell{}, row...))
		}
		if why := in.fewTold(f, figure.Panel{Chart: "shares", X: "x", Y: []string{"n", "of"}}); why != c.wanted {
			t.Errorf("%d rows, %d hidden cells: %q, wanted %q", len(c.rows), c.hidden, why, c.wanted)
		}
	}
}

// A chart of which nothing but what is hidden would be drawn is none, and one by month
// has three months at the least: words say so in its place.
func TestChartsOfNextToNothing(t *testing.T) {
	in := &input{}
	hidden := figure.Cell{Hidden: true}
	count := func(n int64) figure.Cell { return figure.Cell{Value: n} }
	for _, c := range []struct {
		what, chart string
		kind        figure.Kind
		rows        [][2]figure.Cell
		wanted      string
	}{
		{"crosses alone", "control", figure.Month, [][2]figure.Cell{{hidden, count(9)}, {hidden, hidden}, {hidden, count(8)}}, in.w("too_few_hidden")},
		{"one month", "control", figure.Month, [][2]figure.Cell{{count(9), count(20)}}, in.w("too_few_months", 1)},
		{"one month of three", "control", figure.Month, [][2]figure.Cell{{hidden, count(20)}, {count(9), count(20)}, {count(7), hidden}}, in.w("too_few_months", 1)},
		{"two months", "lines", figure.Month, [][2]figure.Cell{{count(9), count(20)}, {count(9), hidden}}, in.w("too_few_months", 2)},
		{"three months", "control", figure.Month, [][2]figure.Cell{{count(9), count(20)}, {count(8), count(20)}, {count(7), count(21)}}, ""},
		{"bars of one month", "stacked", figure.Month, [][2]figure.Cell{{count(9), count(20)}}, in.w("too_few_months", 1)},
		{"noughts beside what is hidden", "stacked", figure.Month, [][2]figure.Cell{{count(0), hidden}, {hidden, hidden}, {hidden, count(0)}}, in.w("too_few_hidden")},
		{"months without any", "stacked", figure.Month, [][2]figure.Cell{{count(0), count(0)}, {count(0), count(0)}, {count(3), hidden}}, ""},
		{"bars that all are hidden", "rows", figure.Label, [][2]figure.Cell{{hidden, hidden}, {hidden, count(0)}}, in.w("too_few_hidden")},
		{"one bar", "bars", figure.Label, [][2]figure.Cell{{count(9), count(0)}}, ""},
		{"a place without judged ones", "funnel", figure.Label, [][2]figure.Cell{{count(0), count(0)}}, in.w("too_few")},
	} {
		f := &figure.Figure{Definition: &figure.Definition{Points: []figure.Column{{Name: "x", Kind: c.kind}, {Name: "n", Kind: figure.Count}, {Name: "of", Kind: figure.Count}}}}
		for i, row := range c.rows {
			f.Rows = append(f.Rows, []figure.Cell{{Value: []string{"2026-08", "2026-09", "2026-10"}[i]}, row[0], row[1]})
			for _, one := range row {
				if one.Hidden {
					f.HiddenCells++
				}
			}
		}
		if why := in.fewTold(f, figure.Panel{Chart: c.chart, X: "x", Y: []string{"n", "of"}}); why != c.wanted {
			t.Errorf("%s: %q, wanted %q", c.what, why, c.wanted)
		}
	}
}
