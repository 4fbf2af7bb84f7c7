package figure

import (
	"fmt"
	"math"
	"testing"
)

func monthly(rows ...[2]int64) *Figure {
	f := &Figure{Definition: &Definition{Points: []Column{{Name: "month", Kind: Month}, {Name: "n", Kind: Count}, {Name: "of", Kind: Count}}}}
	for i, r := range rows {
		m, year := i%12+1, 2025+i/12
		f.Rows = append(f.Rows, []Cell{{Value: fmt.Sprintf("%d-%02d", year, m)}, {Value: r[0]}, {Value: r[1]}})
	}
	return f
}

// TestSinceIsNewcombes: 56 of 70 against 48 of 80 is the example of Newcombe
// 1998 (Stat Med 17:873), method 10: 0.2000, 0.0524 to 0.3339 (from memory).
// Here the 70 are spread over ten months after a change, the 80 over eight
// before it, and the month of the change counts on neither side.
func TestSinceIsNewcombes(t *testing.T) {
	var rows [][2]int64
	for range 8 {
		rows = append(rows, [2]int64{6, 10})
	}
	rows = append(rows, [2]int64{0, 1000})
	for i := range 10 {
		if i < 4 {
			rows = append(rows, [2]int64{5, 7})
		} else {
			rows = append(rows, [2]int64{6, 7})
		}
	}
	c := monthly(rows...).Since("month", "n", "of", "2025-09", nil)
	before, after, d, moved := c.Before, c.After, c.Difference, c.Moved
	if before != (Side{48, 80, 8}) || after != (Side{56, 70, 10}) {
		t.Fatalf("sides %+v, %+v", before, after)
	}
	if moved != Rose || math.Abs(d.Low-0.0524) > 5e-5 || math.Abs(d.High-0.3339) > 5e-5 {
		t.Errorf("moved %v, %.4f to %.4f; wanted 0.0524 to 0.3339", moved, d.Low, d.High)
	}
}

func TestSinceIsHonestAboutTooFewMonths(t *testing.T) {
	var rows [][2]int64
	for range 16 {
		rows = append(rows, [2]int64{90, 100})
	}
	f := monthly(rows...)
	if c := f.Since("month", "n", "of", "2025-09", nil); c.Moved != TooFewMonths || c.After.Months != 7 {
		t.Errorf("seven months after: %+v", c)
	}
	if c := f.Since("month", "n", "of", "2030-01", nil); c.Moved != TooFewMonths || c.Before.Months != 12 || c.After.Months != 0 {
		t.Errorf("nothing after: %+v", c)
	}
	f = monthly(append(rows, rows...)...)
	if c := f.Since("month", "n", "of", "2026-01", nil); c.Moved != NotMoved {
		t.Errorf("the same share on both sides: %+v", c)
	}
	// Hidden and empty months are no months with data.
	for _, r := range []int{13, 14} {
		f.Rows[r][1] = Cell{Hidden: true}
	}
	f.Rows[15][1], f.Rows[15][2] = Cell{Value: int64(0)}, Cell{Value: int64(0)}
	if c := f.Since("month", "n", "of", "2026-01", nil); c.After.Months != 12 || c.After.Of != 1200 {
		t.Errorf("%+v", c)
	}
	if c := f.Since("month", "n", "of", "2027-01", nil); c.Moved != TooFewMonths || c.After.Months != 7 {
		t.Errorf("%+v", c)
	}
}
