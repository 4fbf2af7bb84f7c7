package figure

import (
	"slices"

	"thawline/internal/stat"
)

// sinceMonths is the number of months with data on each side of a change that
// are compared at most, and leastMonths (see Control) at least.
const sinceMonths = 12

// Side is one side of a change: N of Of over so many months with data.
type Side struct {
	N, Of  int64
	Months int
}

// Share is N of Of as a fraction of one; ok is false where Of is 0.
func (s Side) Share() (share float64, interval stat.Interval, ok bool) {
	if s.Of == 0 {
		return 0, stat.Interval{}, false
	}
	return float64(s.N) / float64(s.Of), stat.Wilson(int(s.N), int(s.Of)), true
}

// Moved says whether a share changed.
type Moved int

// What can be said of a change.
const (
	// TooFewMonths: a side has fewer than eight months with data, or none.
	TooFewMonths Moved = iota
	// NotMoved: chance alone may have made the difference.
	NotMoved
	// Rose and Fell: the interval of the difference leaves out zero.
	Rose
	Fell
)

// Change is a share before and after a month.
type Change struct {
	Before, After Side
	// Difference is that of the shares, with Newcombe's interval.
	Difference stat.Interval
	Moved      Moved
	// Beyond are the months of either side that lie beyond a limit of the control chart.
	Beyond []string
	// Without says what would be said without one month: the first of Beyond without
	// which it is something else; nil where there is none.
	Without *LeftOut
}

// LeftOut is a change with one month left out.
type LeftOut struct {
	Month      string
	Difference stat.Interval
	Moved      Moved
}

// Since compares the share n of of, over the months of column x before a month,
// with that of the months after it, at most twelve a side, after disclosure: hidden
// months are left out, and so is the month itself. The months are those of the store,
// whichever of them are drawn; breaks (SetBaseline) end them. The difference has
// Newcombe's interval. It asks whether the share moved, never why; limits are those of
// the control chart, nil without.
func (f *Figure) Since(x, n, of, month string, limits *Limits) (c Change) {
	at, a, b := f.Index(x), f.Index(n), f.Index(of)
	begins, ends, whole := f.stretchOf(month)
	if !whole {
		ends = begins
	}
	var before, after []int
	name := func(r int) string { m, _ := f.Rows[r][at].Value.(string); return m }
	known := func(r int) bool {
		_, okX := f.Rows[r][a].Value.(int64)
		y, okY := f.Rows[r][b].Value.(int64)
		return okX && okY && y > 0
	}
	// Backwards for the months nearest to the change.
	for r := ends - 1; r >= begins; r-- {
		if name(r) < month && known(r) && len(before) < sinceMonths {
			before = append(before, r)
		}
	}
	for r := begins; r < ends; r++ {
		if name(r) > month && known(r) && len(after) < sinceMonths {
			after = append(after, r)
		}
	}
	side := func(rows []int, without int) (s Side) {
		for _, r := range rows {
			if r != without {
				s = Side{s.N + f.Rows[r][a].Value.(int64), s.Of + f.Rows[r][b].Value.(int64), s.Months + 1}
			}
		}
		return s
	}
	c.Before, c.After = side(before, -1), side(after, -1)
	if c.Difference, c.Moved = moved(c.Before, c.After); c.Moved == TooFewMonths || limits == nil {
		return c
	}
	for r := begins; r < ends; r++ {
		if !limits.Beyond[r] || !slices.Contains(before, r) && !slices.Contains(after, r) {
			continue
		}
		c.Beyond = append(c.Beyond, name(r))
		difference, other := moved(side(before, r), side(after, r))
		if other != c.Moved && other != TooFewMonths && c.Without == nil {
			c.Without = &LeftOut{name(r), difference, other}
		}
	}
	return c
}

// moved says whether a share changed from one side to the other.
func moved(before, after Side) (stat.Interval, Moved) {
	if before.Months < leastMonths || after.Months < leastMonths {
		return stat.Interval{}, TooFewMonths
	}
	_, interval := stat.Difference(int(after.N), int(after.Of), int(before.N), int(before.Of))
	switch {
	case interval.Low > 0:
		return interval, Rose
	case interval.High < 0:
		return interval, Fell
	}
	return interval, NotMoved
}
