package pack

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"thawline/internal/chart"
	"thawline/internal/engine"
	"thawline/internal/figure"
)

// dosesBy and marksBy are the values of the policy that doses' bands, and marks, turn on.
var (
	dosesBy = []string{"dose_low", "dose_high", "dose_tolerance", "child_dose_low", "child_dose_high", "full_dose_units"}
	marksBy = append([]string{"over_bleeding", "over_procedure", "over_liver_procedure", "aptt_ratio_over", "viscoelastic_over",
		"fibrinogen_under_bleeding", "fibrinogen_under_procedure", "decides_h", "concentrate_stocked", "fibrinogen_source_stocked"}, dosesBy...)
)

// breaks are the dates on which the policy changed values that the figure's counts by
// month turn on.
func (in *input) breaks(d *figure.Definition) (all []figure.Break) {
	var by []string
	switch {
	case d.CountsByMonth("mark"):
		by = marksBy
	case d.CountsByMonth("dose_band"):
		by = dosesBy
	default:
		return nil
	}
	for _, c := range in.policy.Changes() {
		if !slices.Contains(by, c.Name) {
			continue
		}
		one := figure.Break{Month: month(c.From.Format(time.DateOnly)), Day: in.format.Day(c.From), Words: fmt.Sprintf("%s %s → %s", c.Name, in.policyValue(c.Was), in.policyValue(c.Is))}
		if c.From.Day() > 1 {
			one.Mixed = one.Month
			one.Month = month(c.From.AddDate(0, 0, 1-c.From.Day()).AddDate(0, 1, 0).Format(time.DateOnly))
		}
		if last := len(all) - 1; last >= 0 && all[last].Month == one.Month && all[last].Day == one.Day {
			all[last].Words += ", " + one.Words
			continue
		}
		all = append(all, one)
	}
	return all
}

// policyValue writes a value of the policy.
func (in *input) policyValue(v any) string {
	switch v := v.(type) {
	case nil:
		return in.w("no_value")
	case float64:
		return in.format.Number(v, 3)
	case bool:
		return in.w(map[bool]string{true: "yes", false: "no"}[v])
	}
	return fmt.Sprint(v)
}

// baseline says which months make the centre of a figure's control chart.
func (in *input) baseline(d *figure.Definition) figure.Baseline {
	months, _ := in.policy.Number("baseline_months")
	b := figure.Baseline{Months: int(months), Full: in.fullMonth, Breaks: in.breaks(d)}
	if in.site != nil {
		b.From, b.To = in.site.Baseline.From, in.site.Baseline.To
	}
	return b
}

// latestFirstDay is the day by which the records of a month must have begun for it to
// count as a full one.
const latestFirstDay = 3

// fullMonth says that the records hold all of a month: it is over, and not the store's
// first unless its issues begin by the third day.
func (in *input) fullMonth(m string) bool {
	return m >= in.firstFull && (in.today == "" || m < month(in.today))
}

// findFirstFull finds the first full month of the records.
func (in *input) findFirstFull(ctx context.Context, e *engine.Engine) error {
	_, rows, err := e.Rows(ctx, "first day", "SELECT strftime(min(issues.issued_local), '%Y-%m-%d') FROM issues")
	if err != nil {
		return err
	}
	in.firstFull = in.recordsFrom
	first, _ := rows[0][0].(string)
	if len(first) < len(time.DateOnly) || first[:7] < in.recordsFrom {
		return nil
	}
	in.firstFull = first[:7]
	if first[8:10] > fmt.Sprintf("%02d", latestFirstDay) {
		in.firstFull, err = addMonths(first[:7], 1)
	}
	return err
}

// control says which panels compute lines from months that need not be drawn.
func controlled(p figure.Panel) bool {
	return p.Chart == "control" || p.Chart == "rate" || p.Chart == "before_after"
}

// event is what a line on a chart by month stands for.
type event struct{ month, day, words string }

// events are the interventions and the changes of policy up to the period's end, in
// order: their places are the numbers at the lines.
func (in *input) events(breaks []figure.Break) (all []event) {
	for _, one := range in.interventions {
		if one.Month <= in.to {
			all = append(all, event{one.Month, one.Day, figure.Isolated(one.Name)})
		}
	}
	for _, one := range breaks {
		if one.First() <= in.to {
			all = append(all, event{one.First(), one.Day, in.w("policy_event", one.Words)})
		}
	}
	slices.SortStableFunc(all, func(a, b event) int { return strings.Compare(a.month, b.month) })
	return all
}

// marked gives a chart by month its lines, and the note that says what they are; none
// where no line falls on a month that is drawn.
func (in *input) marked(f *figure.Figure, p figure.Panel, look *chart.Look) (note string) {
	column := f.Index(p.X)
	if column < 0 || f.Points[column].Kind != figure.Month {
		return ""
	}
	var said []string
	look.Interventions = nil
	for _, one := range in.events(in.breaks(f.Definition)) {
		if !slices.ContainsFunc(f.Rows, func(row []figure.Cell) bool { return row[column].Value == one.month }) {
			continue
		}
		number := strconv.Itoa(len(said) + 1)
		look.Interventions = append(look.Interventions, figure.Intervention{Month: one.month, Name: number})
		said = append(said, in.w("line_is", number, one.day, one.words))
	}
	if len(said) == 0 {
		return ""
	}
	return in.w("lines_are", strings.Join(said, "; "))
}
