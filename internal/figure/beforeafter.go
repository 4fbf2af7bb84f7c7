package figure

import (
	"slices"
	"strconv"
	"strings"

	"thawline/internal/stat"
)

// leastSide is how many months with data each side of an intervention must have
// before anything is claimed (advice for such series, from memory: Wagner 2002, J
// Clin Pharm Ther 27:299).
const leastSide = 8

// mostSide is how many months with data each side has at most, so that what is said of
// an intervention does not go on to change for ever.
const mostSide = 24

// Intervention is a dated change of practice: its month, YYYY-MM, its name, and its day
// as the site writes days.
type Intervention struct{ Month, Name, Day string }

// BeforeAfter is a share by month before and after an intervention.
type BeforeAfter struct {
	Intervention
	*stat.Segmented
	// Before and After count months with data on each side.
	Before, After int
	// Lag is that of the Newey–West errors.
	Lag int
	// From and To are the rows that it looks at, To the one after the last.
	From, To int
}

// AddBeforeAfter fits a segmented regression to the shares n of of by month,
// after disclosure (a hidden month is no point), about the latest intervention
// that has at least eight months with data on each side, at most 24 of them, other
// interventions and breaks (SetBaseline) being the ends. The months are those of the
// store, whichever of them are drawn. It adds the fitted line and the line without the change to the
// columns, and to the answer what sentences need: name, since, before, after,
// level, level_interval, slope, slope_interval, verdict. It returns nil and why
// where nothing can be claimed.
func (f *Figure) AddBeforeAfter(month, n, of string, interventions []Intervention, format Format) (*BeforeAfter, string) {
	m, a, b := f.Index(month), f.Index(n), f.Index(of)
	var at, y []float64
	var rows []int
	var months []string
	first := -1
	for r, row := range f.Rows {
		name, _ := row[m].Value.(string)
		position, ok := monthNumber(name)
		x, okX := row[a].Value.(int64)
		size, okSize := row[b].Value.(int64)
		if !ok || !okX || !okSize || size == 0 {
			continue
		}
		if first < 0 {
			first = position
		}
		at, y, rows, months = append(at, float64(position-first)), append(y, 100*float64(x)/float64(size)), append(rows, r), append(months, name)
	}
	sorted := together(interventions)
	why := ""
	for i, one := range slices.Backward(sorted) {
		// Other interventions end the span that this one is judged in.
		from, to := 0, len(months)
		if i > 0 {
			from, _ = slices.BinarySearch(months, sorted[i-1].Month)
		}
		if i+1 < len(sorted) {
			to, _ = slices.BinarySearch(months, sorted[i+1].Month)
		}
		begins, ends, whole := f.stretchOf(one.Month)
		for from < to && (rows[from] < begins || !whole) {
			from++
		}
		for to > from && rows[to-1] >= ends {
			to--
		}
		cut, _ := slices.BinarySearch(months, one.Month)
		cut = min(max(cut, from), to)
		if from, to = max(from, cut-mostSide), min(to, cut+mostSide); cut-from < leastSide || to-cut < leastSide {
			if why == "" {
				why = format.Say("before_after_few",
					Isolated(one.Name), format.Month(one.Month), cut-from, to-cut, leastSide)
			}
			continue
		}
		position, _ := monthNumber(one.Month)
		lag := stat.NeweyWestLag(to - from)
		fit, err := stat.SegmentAt(at[from:to], y[from:to], float64(position-first), lag)
		if err != nil {
			why = format.Say("before_after_fault")
			continue
		}
		result := &BeforeAfter{one, fit, cut - from, to - cut, lag, rows[from], rows[to-1] + 1}
		f.addFit(result, rows[from:to], format)
		return result, ""
	}
	if why == "" {
		why = format.Say("before_after_none")
	}
	return nil, why
}

// together are the interventions in order of month, those of one month as one: their
// effects cannot be told apart.
func together(interventions []Intervention) (all []Intervention) {
	sorted := slices.Clone(interventions)
	slices.SortStableFunc(sorted, func(x, y Intervention) int { return strings.Compare(x.Month, y.Month) })
	for _, one := range sorted {
		if last := len(all) - 1; last >= 0 && all[last].Month == one.Month {
			all[last].Name += "; " + one.Name
			continue
		}
		all = append(all, one)
	}
	return all
}

// monthNumber counts months from year 0.
func monthNumber(month string) (int, bool) {
	if len(month) != 7 {
		return 0, false
	}
	year, errYear := strconv.Atoi(month[:4])
	n, errMonth := strconv.Atoi(month[5:])
	return 12*year + n - 1, errYear == nil && errMonth == nil
}

func (f *Figure) addFit(fit *BeforeAfter, rows []int, format Format) {
	d := *f.Definition
	d.Points = append(d.Points[:len(d.Points):len(d.Points)],
		Column{Name: "fitted", Kind: Share, Title: format.Say("lines_fitted")}, Column{Name: "without", Kind: Share, Title: format.Say("line_before")})
	d.Answer = slices.Clone(d.Answer)
	f.Definition = &d
	for r := range f.Rows {
		f.Rows[r] = append(f.Rows[r], Cell{}, Cell{})
	}
	for i, r := range rows {
		last := len(f.Rows[r]) - 2
		f.Rows[r][last].Value = fit.Fitted[i] / 100
		if i >= fit.Before {
			f.Rows[r][last+1].Value = fit.Counterfactual[i] / 100
		}
	}
	say := func(name, text string) {
		d.Answer = append(d.Answer, Column{Name: name, Kind: Label, Title: name})
		f.Values[name] = Cell{Value: text}
	}
	interval := func(i stat.Interval, decimals int) string {
		return format.Range(format.Fixed(i.Low, decimals), format.Fixed(i.High, decimals))
	}
	say("name", fit.Name)
	say("since", format.Month(fit.Month))
	say("before", format.Whole(int64(fit.Before)))
	say("after", format.Whole(int64(fit.After)))
	say("level", format.Fixed(fit.Level.Value, 1))
	say("level_interval", interval(fit.Level.CI, 1))
	say("slope", format.Fixed(fit.SlopeChange.Value, 2))
	say("slope_interval", interval(fit.SlopeChange.CI, 2))
	say("verdict", format.Say(fit.verdict()))
}

// verdict is the key of the words for which of the two changes leaves out 0.
func (b *BeforeAfter) verdict() string {
	outside := func(i stat.Interval) bool { return i.Low > 0 || i.High < 0 }
	level, slope := outside(b.Level.CI), outside(b.SlopeChange.CI)
	switch {
	case level && slope:
		return "verdict_both"
	case level:
		return "verdict_level"
	case slope:
		return "verdict_slope"
	}
	return "verdict_none"
}

// beforeAfterValues are what AddBeforeAfter adds to the answer.
var beforeAfterValues = []string{"name", "since", "before", "after", "level", "level_interval", "slope", "slope_interval", "verdict"}
