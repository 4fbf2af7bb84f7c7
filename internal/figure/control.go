package figure

import (
	"math"
	"slices"

	"thawline/internal/stat"
)

// Limits are the lines of a control chart, of shares (fractions of one) or of
// rates per so many; a value a row of the figure, NaN where the row has none.
type Limits struct {
	// Per is the denominator of a rate, 0 for a share, 1 for a plain number.
	Per                  float64
	Centre, Lower, Upper []float64
	// Signal says that a rule sees something at the row, Beyond that it is the row's own
	// value, beyond a limit.
	Signal, Beyond []bool
	// Words tells each signal in a sentence, by row; empty without one.
	Words []string
	// run is how long a run is by the row at whose point it is a signal, else 0.
	run map[int]int
	// Parts say of each stretch of months what its lines are made of.
	Parts []Part
}

// Part is a stretch of months that are judged alike.
type Part struct {
	// Drawn says that it has limits.
	Drawn bool
	// Months are the full months with data of its baseline, from First to Last; Wanted
	// is how many there must be.
	Months, Wanted int
	First, Last    string
	// N of Of made the centre; Shown is the number of months that are in it, fewer than
	// Months where the sum over all of them would give a hidden count away.
	N, Of int64
	Shown int
	// Widened is Laney's σ_z where the limits were widened by it, else 0.
	Widened float64
	// Stated says that the site states the baseline's span.
	Stated bool
}

// overdispersed is the σ_z above which limits are widened (common practice: the
// sampling spread of σ_z over a year of points reaches about this far).
const overdispersed = 1.3

// leastMonths is the number of months with data under which nothing is claimed of a
// side of a change, and no centre line drawn.
const leastMonths = 8

// Control computes the lines for the counts n of of, after disclosure: a hidden
// row is no point. The centre of each stretch of months is that of its baseline
// (SetBaseline), as a whole where the sum over it may be shown, else over the months of
// it that are. Without all months of the baseline a stretch has no limits: those from
// fewer move with every month that comes (Montgomery, Introduction to SQC, and Provost
// and Murray 2011, The Health Care Data Guide, hold 20 to 25 points for a baseline and
// about 12 for a provisional one; from memory). drawn is false where no stretch has any.
// With per over 0 it is a chart of the rate of n for each so many of of (a u chart),
// else of shares (a p chart).
func (f *Figure) Control(n, of string, per float64, runLength int, format Format) (l *Limits, drawn bool) {
	a, b := f.Index(n), f.Index(of)
	scale, l := 1.0, newLimits(len(f.Rows), per)
	if per > 0 {
		scale = per
	}
	for _, s := range f.stretches {
		part := Part{Months: len(s.base), Wanted: s.wanted, First: s.first, Last: s.last, Stated: s.stated}
		var counts, sizes, first, firstSizes []float64
		var rows []int
		for r := s.from; r < s.to; r++ {
			x, okX := f.Rows[r][a].Value.(int64)
			y, okY := f.Rows[r][b].Value.(int64)
			if !okX || !okY || y <= 0 {
				continue
			}
			counts, sizes, rows = append(counts, float64(x)), append(sizes, float64(y)/scale), append(rows, r)
			if slices.Contains(s.base, r) {
				first, firstSizes = append(first, float64(x)), append(firstSizes, float64(y)/scale)
				part.N, part.Of, part.Shown = part.N+x, part.Of+y, part.Shown+1
			}
		}
		enough := part.Shown >= leastMonths
		if len(rows) > 0 && !f.sums[s.n].hidden && !f.sums[s.of].hidden {
			part.N, part.Of, part.Shown, enough = f.sums[s.n].value, f.sums[s.of].value, part.Months, true
		}
		if part.Drawn = s.whole && enough && len(rows) > 0; part.Drawn {
			drawn = true
			centre := scale * float64(part.N) / float64(part.Of)
			sigma, limits := stat.SigmaP, stat.PLimits
			if per > 0 {
				sigma, limits = stat.SigmaU, stat.ULimits
			}
			widen := 1.0
			if z := sigma(first, firstSizes, centre); z > overdispersed {
				widen, part.Widened = z, z
			}
			l.take(f, limits(counts, sizes, centre, widen), rows, func(r int) bool { return f.Rows[r][a].Hidden || f.Rows[r][b].Hidden }, runLength, format)
			for r := s.from; r < s.to; r++ {
				l.Centre[r] = centre
			}
		}
		l.Parts = append(l.Parts, part)
	}
	return l, drawn
}

func newLimits(rows int, per float64) *Limits {
	l := &Limits{Per: per, Signal: make([]bool, rows), Beyond: make([]bool, rows), Words: make([]string, rows), run: map[int]int{}}
	for range rows {
		l.Centre, l.Lower, l.Upper = append(l.Centre, math.NaN()), append(l.Lower, math.NaN()), append(l.Upper, math.NaN())
	}
	return l
}

// Between computes the lines for times between rare events, a t chart over all of
// them; nil with fewer than eight.
func (f *Figure) Between(days string, runLength int, format Format) *Limits {
	at := f.Index(days)
	var values []float64
	var rows []int
	for r, row := range f.Rows {
		if x, ok := row[at].Value.(float64); ok {
			values, rows = append(values, x), append(rows, r)
		}
	}
	if len(rows) < leastMonths {
		return nil
	}
	l, chart := newLimits(len(f.Rows), 1), stat.TChart(values, 0)
	l.take(f, chart, rows, func(int) bool { return false }, runLength, format)
	for r := range l.Centre {
		l.Centre[r] = chart.Centre
	}
	return l
}

// take takes over a chart whose points are some rows of the figure. A hidden row is no
// point: it neither counts nor breaks a run, as a point on the centre does not (Perla,
// Provost and Murray 2011, BMJ Qual Saf 20:46, of run charts; from memory), but where a
// run passes over one, its words say so, for the month may lie on the other side.
func (l *Limits) take(f *Figure, chart stat.Chart, rows []int, hidden func(row int) bool, runLength int, format Format) {
	for i, signal := range chart.Signals(runLength) {
		r, p := rows[i], chart.Points[i]
		l.Lower[r], l.Upper[r] = p.Lower, p.Upper
		side := "above"
		if p.Value < chart.Centre {
			side = "below"
		}
		switch {
		case signal.Beyond:
			l.Signal[r], l.Beyond[r], l.Words[r] = true, true, format.Say(side+"_limit")
		case signal.Run:
			l.Signal[r], l.Words[r], l.run[r] = true, format.Say("run_"+side, signal.Length), signal.Length
			first := i
			for counted := 1; counted < signal.Length; {
				if first--; chart.Points[first].Value != chart.Centre {
					counted++
				}
			}
			passed := 0
			for between := rows[first]; between < r; between++ {
				if hidden(between) {
					passed++
				}
			}
			if passed > 0 {
				l.Words[r] = format.Say("run_passes", l.Words[r], passed)
			}
		}
	}
}

// DropRows leaves out the first rows, as the figure's.
func (l *Limits) DropRows(n int) *Limits {
	if l == nil || n <= 0 {
		return l
	}
	return &Limits{Per: l.Per, Centre: l.Centre[n:], Lower: l.Lower[n:], Upper: l.Upper[n:], Signal: l.Signal[n:], Beyond: l.Beyond[n:], Words: l.Words[n:], Parts: l.Parts}
}

// GoesOn says that the signal at a row is that of a run which the next signal goes on
// with, so that it tells nothing of its own.
func (l *Limits) GoesOn(row int) bool {
	for next := row + 1; next < len(l.Words) && l.run[row] > 0; next++ {
		if l.Words[next] != "" {
			return l.run[next] == l.run[row]+1
		}
	}
	return false
}

// AddLimits adds the lines to the figure's columns, so that the table under the
// chart holds every number that is drawn.
func (f *Figure) AddLimits(l *Limits, format Format) {
	d := *f.Definition
	kind := Share
	if l.Per > 0 {
		kind = Number
	}
	d.Points = append(d.Points[:len(d.Points):len(d.Points)],
		Column{Name: "centre", Kind: kind, Title: format.Say("centre")}, Column{Name: "lower", Kind: kind, Title: format.Say("lower_limit")},
		Column{Name: "upper", Kind: kind, Title: format.Say("upper_limit")}, Column{Name: "signal", Kind: Label, Title: format.Say("signal")})
	f.Definition = &d
	cell := func(x float64) Cell {
		if math.IsNaN(x) {
			return Cell{}
		}
		return Cell{Value: x}
	}
	for r := range f.Rows {
		signal := Cell{}
		if l.Words[r] != "" {
			signal.Value = l.Words[r]
		}
		f.Rows[r] = append(f.Rows[r], cell(l.Centre[r]), cell(l.Lower[r]), cell(l.Upper[r]), signal)
	}
}

// AddRate adds a column of the rate of n for each per of of, where both are shown.
func (f *Figure) AddRate(n, of string, per float64, title string) {
	a, b := f.Index(n), f.Index(of)
	d := *f.Definition
	d.Points = append(d.Points[:len(d.Points):len(d.Points)], Column{Name: "rate", Kind: Number, Title: title})
	f.Definition = &d
	for r, row := range f.Rows {
		x, okX := row[a].Value.(int64)
		y, okY := row[b].Value.(int64)
		cell := Cell{Hidden: row[a].Hidden || row[b].Hidden}
		if okX && okY && y > 0 {
			cell.Value = per * float64(x) / float64(y)
		}
		f.Rows[r] = append(row, cell)
	}
}

// AddIntervals adds, after the share of n in of, a column with its 95 % interval
// in words, and returns the intervals; of a row without one both ends are NaN.
func (f *Figure) AddIntervals(n, of string, format Format) []stat.Interval {
	a, b := f.Index(n), f.Index(of)
	after := 1 + max(b, slices.IndexFunc(f.Points, func(c Column) bool { return slices.Equal(c.From, []string{n, of}) }))
	d := *f.Definition
	d.Points = slices.Insert(slices.Clone(d.Points), after, Column{Name: "interval", Kind: Label, Title: format.Say("interval_95")})
	f.Definition = &d
	all := make([]stat.Interval, len(f.Rows))
	for r, row := range f.Rows {
		x, okX := row[a].Value.(int64)
		y, okY := row[b].Value.(int64)
		cell := Cell{Hidden: row[a].Hidden || row[b].Hidden}
		all[r] = stat.Interval{Low: math.NaN(), High: math.NaN()}
		if okX && okY && y > 0 {
			all[r] = stat.Wilson(int(x), int(y))
			cell.Value = format.interval(all[r])
		}
		f.Rows[r] = slices.Insert(row, after, cell)
	}
	return all
}

// Rate is the answer's rate of n for each per of of, with its exact 95 %
// interval for independent events; ok is false where either is missing or hidden.
func (f *Figure) Rate(n string, per float64) (rate float64, interval stat.Interval, ok bool) {
	x, okX := f.Whole(n)
	y, okY := f.Whole("of")
	if !okX || !okY || y <= 0 {
		return 0, stat.Interval{}, false
	}
	scale := per / float64(y)
	interval = stat.Poisson(int(x))
	return scale * float64(x), stat.Interval{Low: scale * interval.Low, High: scale * interval.High}, true
}
