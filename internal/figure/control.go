package figure

import (
	"math"
	"slices"

	"thawline/internal/stat"
)

// Limits are the lines of a control chart, of shares (fractions of one) or of
// rates per so many; a value a row of the figure, NaN where the row has no
// denominator.
type Limits struct {
	// Per is the denominator of a rate, 0 for a share, 1 for a plain number.
	Per          float64
	Centre       float64
	Lower, Upper []float64
	// Signal says that a rule sees something at the row.
	Signal []bool
	// Words tells each signal in a sentence, by row; empty without one.
	Words []string
	// run is how long a run is by the row at whose point it is a signal, else 0.
	run map[int]int
	// Widened is Laney's σ_z where the limits were widened by it, else 0.
	Widened float64
}

// overdispersed is the σ_z above which limits are widened (common practice: the
// sampling spread of σ_z over a year of points reaches about this far).
const overdispersed = 1.3

// leastMonths is the number of months with data under which no limits are drawn.
const leastMonths = 8

// Control computes the lines for the counts n of of, after disclosure: a hidden
// row is no point. It is nil with fewer than eight months of data. The
// baseline is the first baselineMonths months with data. With per over 0 it is a
// chart of the rate of n for each so many of of (a u chart), else of shares (a p
// chart).
func (f *Figure) Control(n, of string, per float64, baselineMonths, runLength int, format Format) *Limits {
	a, b := f.Index(n), f.Index(of)
	scale := 1.0
	if per > 0 {
		scale = per
	}
	var counts, sizes []float64
	var rows []int
	for r, row := range f.Rows {
		x, okX := row[a].Value.(int64)
		y, okY := row[b].Value.(int64)
		if okX && okY && y > 0 {
			counts, sizes, rows = append(counts, float64(x)), append(sizes, float64(y)/scale), append(rows, r)
		}
	}
	if len(rows) < leastMonths {
		return nil
	}
	plain, laney := stat.PChart, stat.LaneyP
	if per > 0 {
		plain, laney = stat.UChart, stat.LaneyU
	}
	chart, l := plain(counts, sizes, baselineMonths), &Limits{Per: per}
	if wide, sigma := laney(counts, sizes, baselineMonths); sigma > overdispersed {
		chart, l.Widened = wide, sigma
	}
	l.take(f, chart, rows, runLength, format)
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
	l := &Limits{Per: 1}
	l.take(f, stat.TChart(values, 0), rows, runLength, format)
	return l
}

// take takes over a chart whose points are some rows of the figure.
func (l *Limits) take(f *Figure, chart stat.Chart, rows []int, runLength int, format Format) {
	l.Centre = chart.Centre
	for range f.Rows {
		l.Lower, l.Upper = append(l.Lower, math.NaN()), append(l.Upper, math.NaN())
		l.Signal, l.Words = append(l.Signal, false), append(l.Words, "")
	}
	for i, signal := range chart.Signals(runLength) {
		r, p := rows[i], chart.Points[i]
		l.Lower[r], l.Upper[r] = p.Lower, p.Upper
		side := "above"
		if p.Value < chart.Centre {
			side = "below"
		}
		switch {
		case signal.Beyond:
			l.Signal[r], l.Words[r] = true, format.Say(side+"_limit")
		case signal.Run:
			l.Signal[r], l.Words[r] = true, format.Say("run_"+side, signal.Length)
			if l.run == nil {
				l.run = map[int]int{}
			}
			l.run[r] = signal.Length
		}
	}
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
		f.Rows[r] = append(f.Rows[r], cell(l.Centre), cell(l.Lower[r]), cell(l.Upper[r]), signal)
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
