package figure

import (
	"fmt"
	"slices"
)

// Break is where the numbers of a chart by month begin to come about by other rules:
// values of the policy that changed on a date. Nothing is compared across it.
type Break struct {
	// Month is the first month, YYYY-MM, that is wholly under the new values; Mixed the
	// one in which they changed, empty where that was on its first day. A mixed month
	// stands by itself.
	Month, Mixed string
	// Words says what changed: dose_low 10 → 15; Day when, as the site writes days.
	Words, Day string
}

// First is the month of the change.
func (b Break) First() string {
	if b.Mixed != "" {
		return b.Mixed
	}
	return b.Month
}

// Baseline says which months make the centre of a control chart. It goes by the
// store's months, never by those that a pack happens to draw, so that a month is judged
// alike in the pack of the month, the quarter and the year.
type Baseline struct {
	// Months is how many full months with data make it, the first of each stretch.
	Months int
	// From and To state its span, YYYY-MM, in place of the first months; empty for none.
	From, To string
	// Full says that the records hold all of a month.
	Full func(month string) bool
	// Breaks part the months into stretches, in order of date.
	Breaks []Break
}

// stretch is the rows from one break to the next.
type stretch struct {
	from, to int
	// base are the rows of its baseline, over the months first to last; whole says that
	// it has all the months it wants, wanted.
	base        []int
	first, last string
	whole       bool
	stated      bool
	wanted      int
	// n and of place what the baseline counts among the figure's sums.
	n, of int
}

// rowSum is a count summed over some rows. It is disclosed as any other count (Together),
// after all others: where several months are hidden, their sum seldom tells of one.
type rowSum struct {
	name, column string
	rows         []int
	value        int64
	hidden       bool
}

// SetBaseline finds the months that make the centre of the chart of n in of by month.
// It comes before small counts are hidden; what it sums is disclosed with them.
func (f *Figure) SetBaseline(month, n, of string, b Baseline) {
	m, a, whole := f.Index(month), f.Index(n), f.Index(of)
	name := func(r int) string { s, _ := f.Rows[r][m].Value.(string); return s }
	dated := f.Points[m].Kind == Month
	breaks := b.Breaks
	if !dated {
		breaks = nil
	}
	f.breaks = breaks
	at := 0
	for i := 0; i <= len(breaks); i++ {
		s := stretch{from: at, to: len(f.Rows), wanted: b.Months}
		if i < len(breaks) {
			for s.to = at; s.to < len(f.Rows) && name(s.to) < breaks[i].First(); {
				s.to++
			}
			for at = s.to; at < len(f.Rows) && name(at) < breaks[i].Month; {
				at++
			}
		}
		var data, stated []int
		for r := s.from; r < s.to; r++ {
			_, okN := f.Rows[r][a].Value.(int64)
			size, okOf := f.Rows[r][whole].Value.(int64)
			if !okN || !okOf || size <= 0 || dated && b.Full != nil && !b.Full(name(r)) {
				continue
			}
			data = append(data, r)
			if b.From != "" && name(r) >= b.From && name(r) <= b.To {
				stated = append(stated, r)
			}
		}
		s.base = data[:min(b.Months, len(data))]
		s.whole = len(s.base) == b.Months
		if len(stated) > 0 && dated {
			// A span that is not over yet would move with every pack.
			s.base, s.wanted, s.stated = stated, leastMonths, true
			s.whole = len(stated) >= leastMonths && name(len(f.Rows)-1) >= b.To
		}
		if len(s.base) > 0 {
			s.first, s.last = name(s.base[0]), name(s.base[len(s.base)-1])
		}
		s.n, s.of = f.addSum(fmt.Sprintf("baseline_%d_n", i), n, s.base), f.addSum(fmt.Sprintf("baseline_%d_of", i), of, s.base)
		f.stretches = append(f.stretches, s)
	}
}

func (f *Figure) addSum(name, column string, rows []int) int {
	sum := rowSum{name: name, column: column, rows: rows}
	for _, r := range rows {
		n, _ := f.Rows[r][f.Index(column)].Value.(int64)
		sum.value += n
	}
	f.sums = append(f.sums, sum)
	return len(f.sums) - 1
}

// HasBaseline says that SetBaseline was asked.
func (f *Figure) HasBaseline() bool { return len(f.stretches) > 0 }

// Breaks are those that part the chart's months.
func (f *Figure) Breaks() []Break { return f.breaks }

// stretchOf is the stretch in which a month lies, which may be of no row; ok is false
// for a month in which rules changed. A figure without stretches is one.
func (f *Figure) stretchOf(month string) (from, to int, ok bool) {
	if len(f.stretches) == 0 {
		return 0, len(f.Rows), true
	}
	i := 0
	for ; i < len(f.breaks) && month >= f.breaks[i].Month; i++ {
	}
	if i < len(f.breaks) && f.breaks[i].Mixed != "" && month >= f.breaks[i].Mixed {
		return 0, 0, false
	}
	return f.stretches[i].from, f.stretches[i].to, true
}

// DropRows leaves out the first rows, which are not drawn: statistics have looked at
// them.
func (f *Figure) DropRows(n int) {
	if n <= 0 {
		return
	}
	f.Rows = f.Rows[n:]
	rests := map[int]rest{}
	for r, one := range f.rests {
		rests[r-n] = one
	}
	f.rests, f.stretches, f.sums = rests, nil, nil
	f.HiddenCells = 0
	for _, row := range f.Rows {
		for _, c := range row {
			if c.Hidden {
				f.HiddenCells++
			}
		}
	}
	for _, c := range f.Values {
		if c.Hidden {
			f.HiddenCells++
		}
	}
}

// RowsBefore is how many rows stand before a month.
func (f *Figure) RowsBefore(column, month string) int {
	at := f.Index(column)
	return max(0, slices.IndexFunc(f.Rows, func(row []Cell) bool { m, _ := row[at].Value.(string); return m >= month }))
}
