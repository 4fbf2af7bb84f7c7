package figure

import "testing"

// A table may be left out where it would say nothing: where all its numbers are
// hidden, or all are nought. Labels, months and what is not there are no numbers.
func TestTablesThatSayNothing(t *testing.T) {
	d := &Definition{Points: []Column{{Name: "what", Kind: Label}, {Name: "month", Kind: Month}, {Name: "tried", Kind: Key}, {Name: "n", Kind: Count}, {Name: "share", Kind: Share}, {Name: "at", Kind: Place}}}
	row := func(n, share Cell) []Cell {
		return []Cell{{Value: "a"}, {Value: "2026-10"}, {Value: "x=1"}, n, share, {Value: 3.0}}
	}
	hidden, none, zero := Cell{Hidden: true}, Cell{}, Cell{Value: int64(0)}
	for name, c := range map[string]struct {
		rows               [][]Cell
		allHidden, allZero bool
	}{
		"no rows":         {nil, false, true},
		"hidden":          {[][]Cell{row(hidden, hidden), row(hidden, none)}, true, false},
		"a nought beside": {[][]Cell{row(hidden, hidden), row(zero, none)}, false, false},
		"a share":         {[][]Cell{row(hidden, Cell{Value: 0.5})}, false, false},
		"noughts":         {[][]Cell{row(zero, Cell{Value: 0.0}), row(zero, none)}, false, true},
		"one":             {[][]Cell{row(Cell{Value: int64(1)}, none)}, false, false},
		"nothing known":   {[][]Cell{row(none, none)}, false, true},
	} {
		f := &Figure{Definition: d, Rows: c.rows}
		if f.AllHidden() != c.allHidden || f.AllZero() != c.allZero {
			t.Errorf("%s: all hidden %t, all nought %t", name, f.AllHidden(), f.AllZero())
		}
	}
	for _, kind := range kinds {
		if kind.InTable() == (kind == Key || kind == Place) {
			t.Errorf("a table has a column of %s: %t", kind, kind.InTable())
		}
	}
}
