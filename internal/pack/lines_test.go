package pack

import (
	"testing"

	"thawline/internal/chart"
	"thawline/internal/figure"
	"thawline/internal/policy"
)

// Shares of which none is shown are not drawn as crosses alone: words say why.
func TestHiddenSharesAreNotDrawn(t *testing.T) {
	fs := &figures{in: &input{policy: policy.Default()}}
	shown, hidden := []figure.Cell{{Value: "one"}, {Value: int64(20)}, {Value: int64(40)}}, []figure.Cell{{Value: "two"}, {Hidden: true}, {Hidden: true}}
	for _, c := range []struct {
		rows   [][]figure.Cell
		hidden int
		wanted string
	}{
		{[][]figure.Cell{hidden, hidden}, 4, fs.in.w("too_few_hidden")},
		{[][]figure.Cell{shown, hidden}, 2, ""},
		{[][]figure.Cell{{{Value: "none"}, {Value: int64(0)}, {Value: int64(0)}}}, 0, fs.in.w("too_few")},
	} {
		f := &figure.Figure{Definition: &figure.Definition{Points: []figure.Column{{Name: "x", Kind: figure.Label}, {Name: "n", Kind: figure.Count}, {Name: "of", Kind: figure.Count}}}, HiddenCells: c.hidden}
		for _, row := range c.rows {
			f.Rows = append(f.Rows, append([]figure.Cell{}, row...))
		}
		var out panel
		fs.lines(figure.Panel{Chart: "shares", X: "x", Y: []string{"n", "of"}}, f, &chart.Look{}, &out)
		if out.TooFew != c.wanted {
			t.Errorf("%d rows, %d hidden cells: %q, wanted %q", len(c.rows), c.hidden, out.TooFew, c.wanted)
		}
	}
}
