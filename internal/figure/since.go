package figure

import "thawline/internal/stat"

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

// Since compares the share n of of, over the months of column x before a month,
// with that of the months after it, at most twelve a side, after disclosure: hidden months are left out,
// and so is the month itself. The difference has Newcombe's interval. It asks
// whether the share moved, never why.
func (f *Figure) Since(x, n, of, month string) (before, after Side, difference stat.Interval, moved Moved) {
	at, a, b := f.Index(x), f.Index(n), f.Index(of)
	add := func(s *Side, row []Cell) {
		x, okX := row[a].Value.(int64)
		y, okY := row[b].Value.(int64)
		if okX && okY && y > 0 && s.Months < sinceMonths {
			s.N, s.Of, s.Months = s.N+x, s.Of+y, s.Months+1
		}
	}
	// Backwards for the months nearest to the change.
	for r := len(f.Rows) - 1; r >= 0; r-- {
		if m, _ := f.Rows[r][at].Value.(string); m < month {
			add(&before, f.Rows[r])
		}
	}
	for _, row := range f.Rows {
		if m, _ := row[at].Value.(string); m > month {
			add(&after, row)
		}
	}
	if before.Months < leastMonths || after.Months < leastMonths {
		return before, after, difference, TooFewMonths
	}
	_, interval := stat.Difference(int(after.N), int(after.Of), int(before.N), int(before.Of))
	switch {
	case interval.Low > 0:
		return before, after, interval, Rose
	case interval.High < 0:
		return before, after, interval, Fell
	}
	return before, after, interval, NotMoved
}
