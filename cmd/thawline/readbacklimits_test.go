package main

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"thawline/internal/figure"
)

// What statistics add to a figure is recomputed here, from the numbers of the
// rows that the page shows: a hidden row is no point of any of them.

// The policy's values for charts, which the demo leaves as they are.
const (
	baselineMonths = 12
	runLength      = 8
	leastPoints    = 8
)

// withLines adds to what is wanted what the kind of chart adds.
func (d *rows) withLines(p figure.Panel, a *article, w wanted) wanted {
	switch p.Chart {
	case "control", "rate":
		n, of := shownNumbers(a, w, 1), shownNumbers(a, w, 2)
		if p.Chart == "rate" {
			w = w.withColumn("Rate per "+withCommas(int(p.Per)), func(r int) any { return figured{p.Per * n[r] / of[r], 2} })
			w.notes = append(w.notes, "The interval takes units as independent; they come in clusters of an episode, so that it is too narrow.")
		}
		return w.withLimits(d.shareLimits(w, n, of, p.Per))
	case "funnel":
		return w.withFunnel(shownNumbers(a, w, 1), shownNumbers(a, w, 2))
	case "between":
		return w.withLimits(gapLimits(shownNumbers(a, w, 1)))
	case "before_after":
		return w.withSegments(shownNumbers(a, w, 1), shownNumbers(a, w, 2), d.months)
	}
	return w
}

// shownNumbers are the numbers of a column, NaN where the page hides them.
func shownNumbers(a *article, w wanted, column int) []float64 {
	at := a.column(w.heads[column])
	all := make([]float64, len(w.rows))
	for r := range all {
		all[r] = numberOf(w.rows[r][column])
		if at >= 0 && r < len(a.rows) && a.rows[r][at] == "hidden" {
			all[r] = math.NaN()
		}
	}
	return all
}

// withColumn adds a column; what is wanted elsewhere stays as it is.
func (w wanted) withColumn(head string, cell func(row int) any) wanted {
	w.heads = append(slices.Clone(w.heads), head)
	w.notes = slices.Clone(w.notes)
	wider := make([][]any, len(w.rows))
	for r, row := range w.rows {
		wider[r] = append(slices.Clone(row), cell(r))
	}
	w.rows = wider
	return w
}

// limits are the lines of a control chart, NaN and empty where there is no point.
type limits struct {
	plain               bool // numbers, not shares
	centre              float64
	value, lower, upper []float64
	signal              []string
	hidden              []int
	note                string
}

func (w wanted) withLimits(l *limits) wanted {
	if l == nil {
		w.notes = append(slices.Clone(w.notes), fmt.Sprintf("A baseline takes %d full months with data, and there are fewer: no limits are drawn, and no change is claimed.", baselineMonths))
		return w
	}
	line := func(x float64) any {
		if l.plain {
			return figured{x, 2}
		}
		return fraction(x)
	}
	w = w.withColumn("Centre", func(int) any { return line(l.centre) })
	w = w.withColumn("Lower limit", func(r int) any { return line(l.lower[r]) })
	w = w.withColumn("Upper limit", func(r int) any { return line(l.upper[r]) })
	w = w.withColumn("Signal", func(r int) any { return l.signal[r] })
	w.notes = append(w.notes, l.note)
	return w
}

// firstFull is the first month of which the store holds all: its first, where an issue
// lies in its first three days.
func (d *rows) firstFull() string {
	first := ""
	for _, r := range d.issues {
		if at, ok := instant(r, "issued_at"); ok {
			if day := at.In(d.zone).Format("2006-01-02"); first == "" || day < first {
				first = day
			}
		}
	}
	if first[8:] > "03" {
		at, _ := time.Parse("2006-01", first[:7])
		return at.AddDate(0, 1, 0).Format("2006-01")
	}
	return first[:7]
}

// shareLimits are those of a p chart, and with per over 0 of a u chart: three
// standard errors about the mean of the store's first full months with data, those that
// the page hides among them, by each point's own size; where months vary by more than
// chance, times the mean moving range of the standardised points that are shown over
// 1.128 (Laney 2002, Quality Engineering 14:531).
func (d *rows) shareLimits(w wanted, n, of []float64, per float64) *limits {
	l := &limits{plain: per > 0}
	between := "of"
	if l.plain {
		between = "against"
	}
	if per == 0 {
		per = 1
	}
	var rows, base, first []int
	var events, sizes float64
	full := d.firstFull()
	for r := range n {
		shown := !math.IsNaN(n[r]) && of[r] > 0
		if shown {
			rows = append(rows, r)
		}
		if size := numberOf(w.rows[r][2]); size > 0 && d.months[r] >= full && len(base) < baselineMonths {
			base = append(base, r)
			if events, sizes = events+numberOf(w.rows[r][1]), sizes+size; shown {
				first = append(first, r)
			}
		}
	}
	if len(base) < baselineMonths {
		return nil
	}
	l.note = fmt.Sprintf("Limits are three standard errors about the mean of %s to %s (the first %d full months with data, %s %s %s), each month by its own n.",
		monthName(d.months[base[0]]), monthName(d.months[base[len(base)-1]]), baselineMonths, withCommas(int(events)), between, withCommas(int(sizes)))
	for r := range n {
		if math.IsNaN(n[r]) || math.IsNaN(of[r]) {
			l.hidden = append(l.hidden, r)
		}
	}
	l.centre = per * events / sizes
	// By chance alone a share has the binomial's variance, a rate that of Poisson.
	chance := func(r int) float64 {
		variance := l.centre * per / of[r]
		if !l.plain {
			variance = l.centre * (1 - l.centre) / of[r]
		}
		return math.Sqrt(variance)
	}
	var moved float64
	for i, r := range first[1:] {
		before := first[i]
		moved += math.Abs((per*n[r]/of[r]-l.centre)/chance(r) - (per*n[before]/of[before]-l.centre)/chance(before))
	}
	widen := moved / float64(len(first)-1) / 1.128
	if widen > 1.3 {
		l.note += fmt.Sprintf(" Months vary more than chance alone would make them: the limits are widened by Laney's factor %s.", decimal(widen, 2))
	} else {
		widen = 1
	}
	highest := 1.0
	if l.plain {
		highest = math.Inf(1)
	}
	for r := range n {
		l.value = append(l.value, per*n[r]/of[r])
		l.lower = append(l.lower, math.Max(0, l.centre-3*widen*chance(r)))
		l.upper = append(l.upper, math.Min(highest, l.centre+3*widen*chance(r)))
	}
	l.look(rows)
	return l
}

// gapLimits are those of a t chart: times to the power 1/3.6 are nearly normal, their
// limits three times the mean moving range over 1.128 (Nelson 1994, J Qual Technol
// 26:239).
func gapLimits(days []float64) *limits {
	const power = 3.6
	if len(days) < leastPoints {
		return nil
	}
	var sum, moved float64
	var rows []int
	for r, x := range days {
		rows = append(rows, r)
		sum += math.Pow(x, 1/power)
		if r > 0 {
			moved += math.Abs(math.Pow(x, 1/power) - math.Pow(days[r-1], 1/power))
		}
	}
	mean, half := sum/float64(len(days)), 3*moved/float64(len(days)-1)/1.128
	l := &limits{plain: true, centre: math.Pow(mean, power), value: days,
		note: "A t chart (Nelson 1994): a point over the upper limit is good news, a long time without an event; one under the lower limit is not."}
	for range days {
		l.lower = append(l.lower, math.Pow(math.Max(0, mean-half), power))
		l.upper = append(l.upper, math.Pow(mean+half, power))
	}
	l.look(rows)
	return l
}

// look finds the signals: a point beyond a limit, and runLength points in a row on
// one side of the centre, those on it neither counting nor breaking the run.
func (l *limits) look(rows []int) {
	l.signal = slices.Repeat([]string{"–"}, len(l.value))
	run, above := 0, false
	var passed []int
	for r, x := range l.value {
		if !slices.Contains(rows, r) {
			l.lower[r], l.upper[r] = math.NaN(), math.NaN()
			continue
		}
		if x == l.centre {
			continue
		}
		if x > l.centre != above {
			run, above, passed = 0, x > l.centre, nil
		}
		run++
		passed = append(passed, r)
		side := "below"
		if above {
			side = "above"
		}
		switch {
		case x < l.lower[r] || x > l.upper[r]:
			l.signal[r] = side + " its limit"
		case run >= runLength:
			l.signal[r] = fmt.Sprintf("%d in a row %s the centre line", run, side)
			over := 0
			for _, h := range l.hidden {
				if h > passed[0] && h < r {
					over++
				}
			}
			switch {
			case over == 1:
				l.signal[r] += ", 1 hidden month between them left out"
			case over > 1:
				l.signal[r] += fmt.Sprintf(", %d hidden months between them left out", over)
			}
		}
	}
}

// goesOn says that the first row's signal is of a run with which the next signal goes on.
func goesOn(rows [][]any, column int) bool {
	next := slices.IndexFunc(rows[1:], func(row []any) bool { return row[column] != "–" })
	var n, more int
	var side, other string
	told, _ := fmt.Sscanf(fmt.Sprint(rows[0][column]), "%d in a row %s", &n, &side)
	if next < 0 || told != 2 {
		return false
	}
	told, _ = fmt.Sscanf(fmt.Sprint(rows[1+next][column]), "%d in a row %s", &more, &other)
	return told == 2 && more == n+1 && side == other
}

// signals are what the control charts by month say of the period, in the page's order:
// a run once, by its last month.
func (d *rows) signals(p *packPage, panels map[string]figure.Panel) (all []string) {
	for _, id := range p.order {
		if kind := panels[id].Chart; kind != "control" && kind != "rate" {
			continue
		}
		w := d.withLines(panels[id], p.articles[id], d.recomputed()[id])
		last := len(w.heads) - 1
		for r, row := range w.rows {
			if w.heads[last] == "Signal" && row[last] != "–" && d.isNow(d.months[r]) && !goesOn(w.rows[r:], last) {
				all = append(all, fmt.Sprintf("%s %s: %s.", p.articles[id].asks, row[0], row[last]))
			}
		}
	}
	return all
}

// unseen are the charts of which months of the period are hidden, in the page's order.
func (d *rows) unseen(p *packPage, panels map[string]figure.Panel) (all []string) {
	for _, id := range p.order {
		if kind := panels[id].Chart; kind != "control" && kind != "rate" {
			continue
		}
		a, w := p.articles[id], d.recomputed()[id]
		var months []string
		for r, row := range w.rows {
			if d.isNow(d.months[r]) && (isHidden(a, r, w.heads[1]) || isHidden(a, r, w.heads[2])) {
				months = append(months, fmt.Sprint(row[0]))
			}
		}
		if len(months) > 0 {
			all = append(all, fmt.Sprintf("%s %s: hidden, so that whether it signals a change is not seen.", a.asks, strings.Join(months, ", ")))
		}
	}
	return all
}
