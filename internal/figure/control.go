package figure

import (
	"math"

	"thawline/internal/stat"
)

// Limits are the lines of a control chart of shares, fractions of one; a value
// a row of the figure, NaN where the row has no denominator.
type Limits struct {
	Centre       float64
	Lower, Upper []float64
	// Signal says that a rule sees something at the row.
	Signal []bool
	// Words tells each signal in a sentence, by row; empty without one.
	Words []string
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
// baseline is the first baselineMonths months with data.
func (f *Figure) Control(n, of string, baselineMonths, runLength int, format Format) *Limits {
	a, b := f.Index(n), f.Index(of)
	var counts, sizes []float64
	var rows []int
	for r, row := range f.Rows {
		x, okX := row[a].Value.(int64)
		y, okY := row[b].Value.(int64)
		if okX && okY && y > 0 {
			counts, sizes, rows = append(counts, float64(x)), append(sizes, float64(y)), append(rows, r)
		}
	}
	if len(rows) < leastMonths {
		return nil
	}
	chart := stat.PChart(counts, sizes, baselineMonths)
	l := &Limits{}
	if wide, sigma := stat.LaneyP(counts, sizes, baselineMonths); sigma > overdispersed {
		chart, l.Widened = wide, sigma
	}
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
		}
	}
	return l
}

// AddLimits adds the lines to the figure's columns, so that the table under the
// chart holds every number that is drawn.
func (f *Figure) AddLimits(l *Limits, format Format) {
	d := *f.Definition
	d.Points = append(d.Points[:len(d.Points):len(d.Points)],
		Column{Name: "centre", Kind: Share, Title: format.Say("centre")}, Column{Name: "lower", Kind: Share, Title: format.Say("lower_limit")},
		Column{Name: "upper", Kind: Share, Title: format.Say("upper_limit")}, Column{Name: "signal", Kind: Label, Title: format.Say("signal")})
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
