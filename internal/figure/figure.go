package figure

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"thawline/internal/engine"
)

// Cell is one value of a figure: nil, string, bool, int64 or float64. Hidden
// cells have lost their value.
type Cell struct {
	// Value is the value, nil where there is none or it is hidden.
	Value any
	// Hidden says that disclosure took the value away.
	Hidden bool
}

// Figure is a figure with its data.
type Figure struct {
	*Definition
	// Rows are the points, in the query's order; a cell a column of Points.
	Rows [][]Cell
	// Values is the answer, by column name.
	Values map[string]Cell
	// rests is, by row, what hidden counts of the row are together, where a reader of
	// the pack can work that out.
	rests map[int]rest
	// HiddenCells counts the cells that disclosure took away.
	HiddenCells int
	// stretches, breaks and sums are of a control chart's baseline (SetBaseline).
	stretches []stretch
	breaks    []Break
	sums      []rowSum
}

// Run asks the engine. The points stand as table points while the answer is
// asked, so that the sentence is made from what is drawn.
func (d *Definition) Run(ctx context.Context, e *engine.Engine) (*Figure, error) {
	if err := e.Exec(ctx, d.Path, "CREATE OR REPLACE TEMP TABLE points AS\n"+d.points); err != nil {
		return nil, err
	}
	f := &Figure{Definition: d, Values: map[string]Cell{}}
	names, rows, err := e.Rows(ctx, d.Path, "SELECT * FROM points ORDER BY rowid")
	if err != nil {
		return nil, err
	}
	if err := d.same("points", d.Points, names); err != nil {
		return nil, err
	}
	for _, row := range rows {
		cells := make([]Cell, len(row))
		for i, v := range row {
			if cells[i].Value, err = value(d.Points[i], v); err != nil {
				return nil, fmt.Errorf("%s: %w", d.Path, err)
			}
		}
		f.Rows = append(f.Rows, cells)
	}
	names, rows, err = e.Rows(ctx, d.Path+" (answer)", d.answer)
	if err != nil {
		return nil, err
	}
	if err := d.same("answer", d.Answer, names); err != nil {
		return nil, err
	}
	if len(rows) != 1 {
		return nil, fmt.Errorf("%s: the answer has %d rows, wanted one", d.Path, len(rows))
	}
	for i, c := range d.Answer {
		v, err := value(c, rows[0][i])
		if err != nil {
			return nil, fmt.Errorf("%s: %w", d.Path, err)
		}
		f.Values[c.Name] = Cell{Value: v}
	}
	return f, nil
}

// Copy is the figure as it is, for another look at it: what a panel adds to one is not
// in the other.
func (f *Figure) Copy() *Figure {
	other := *f
	other.Rows = make([][]Cell, len(f.Rows))
	for i, row := range f.Rows {
		other.Rows[i] = slices.Clone(row)
	}
	other.Values = maps.Clone(f.Values)
	return &other
}

func (d *Definition) same(part string, wanted []Column, found []string) error {
	if len(wanted) != len(found) {
		return fmt.Errorf("%s: the %s have %d columns, the header tells of %d", d.Path, part, len(found), len(wanted))
	}
	for i := range wanted {
		if wanted[i].Name != found[i] {
			return fmt.Errorf("%s: column %d of the %s is %s, the header says %s", d.Path, i+1, part, found[i], wanted[i].Name)
		}
	}
	return nil
}

// value checks that a value fits its column's kind.
func value(c Column, v any) (any, error) {
	switch v := v.(type) {
	case nil:
		return nil, nil
	case string:
		if c.Kind.isText() {
			return v, nil
		}
	case bool:
		if c.Kind == Test {
			return v, nil
		}
	case int64:
		if c.Kind == Count || c.Kind == Units {
			return v, nil
		}
		if c.Kind == Share || c.Kind == Number {
			return float64(v), nil
		}
	case float64:
		if (c.Kind == Share || c.Kind == Number || c.Kind == Place) && !math.IsNaN(v) && !math.IsInf(v, 0) {
			return v, nil
		}
	}
	return nil, fmt.Errorf("column %s holds a %T, which is no %s: cast it in the query", c.Name, v, c.Kind)
}

// Index returns the place of a points column, -1 without one.
func (f *Figure) Index(name string) int {
	for i, c := range f.Points {
		if c.Name == name {
			return i
		}
	}
	return -1
}

// rest is what hidden counts of a row are together: all of them, or the first ones.
type rest struct {
	n   int64
	all bool
}

// Rest is what the hidden counts of a row are together, as far as the counts that are
// shown, of this figure or others, tell it: all says that they tell it of all, else it is
// that of the first of them, in the order of the columns, and 0 where they tell nothing.
func (f *Figure) Rest(row int) (n int64, all bool) {
	r := f.rests[row]
	return r.n, r.all
}

// AllZero says that no number of the points is another than nought, nor hidden.
func (f *Figure) AllZero() bool {
	for _, row := range f.Rows {
		for i, c := range row {
			if k := f.Points[i].Kind; c.Hidden || c.Value != nil && !k.isText() && k != Place && c.Value != int64(0) && c.Value != 0.0 {
				return false
			}
		}
	}
	return true
}

// AllHidden says that the points have numbers, and that none of them is shown.
func (f *Figure) AllHidden() bool {
	hidden := false
	for _, row := range f.Rows {
		for i, c := range row {
			switch k := f.Points[i].Kind; {
			case c.Hidden:
				hidden = true
			case c.Value != nil && !k.isText() && k != Place:
				return false
			}
		}
	}
	return hidden
}

// Whole returns a whole number of the answer; ok is false where there is none
// or it is hidden.
func (f *Figure) Whole(name string) (n int64, ok bool) {
	n, ok = f.Values[name].Value.(int64)
	return n, ok
}
