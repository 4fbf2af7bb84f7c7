package figure

import (
	"fmt"
	"slices"
	"strings"

	"thawline/internal/contract"
)

// need says that only records of some feeds could fill a column: without them a
// nought of it is no count, but not known.
type need struct {
	columns []string
	answer  bool
	// where are labels of the rows that it holds for, whole or by how they begin
	// (dose_low=*); all rows without one.
	where []condition
	// feeds are those of which any would do.
	feeds []string
}

// Bleeding stands, among the feeds that something needs, for any record in which
// bleeding would have been written down, had there been any: the events, or the
// indications where the policy takes them for one (bleeding_recorded_in).
const Bleeding = "bleeding"

// Band stands for what tells whether a dose is in its band: weights among the measures,
// or a number of units that the policy takes for a whole dose (full_dose_units).
const Band = "dose band"

// knownFeed says that a need may name it.
func knownFeed(name string) bool {
	return name == Bleeding || name == Band || slices.ContainsFunc(contract.Feeds(), func(t *contract.Table) bool { return t.Name == name })
}

// parseNeed reads a header line of needs:
//
//	non_bleeding: bleeding
//	answer n: events or patients
//	episodes + units where reason none of a circuit primed: events
func parseNeed(text string) (need, error) {
	wanted := fmt.Errorf("%q is no need, wanted \"column: feed\" or \"answer n: feed or feed\"", text)
	at := strings.LastIndex(text, ": ")
	if at < 0 {
		return need{}, wanted
	}
	one := need{feeds: strings.Split(text[at+2:], " or ")}
	parts := strings.Split(text[:at], " where ")
	names, answer := strings.CutPrefix(parts[0], "answer ")
	one.answer, one.columns = answer, strings.Split(names, " + ")
	for _, part := range parts[1:] {
		label, values, _ := strings.Cut(part, " ")
		values, not := strings.CutPrefix(values, "none of ")
		one.where = append(one.where, condition{of: attribute{column: label}, not: not, values: strings.Split(values, "|")})
	}
	for _, feed := range one.feeds {
		if !knownFeed(feed) {
			return need{}, fmt.Errorf("needs: %q is no feed", feed)
		}
	}
	if slices.ContainsFunc(one.columns, func(name string) bool { return !nameForm.MatchString(name) }) || answer && len(one.where) > 0 {
		return need{}, wanted
	}
	return one, nil
}

// checkNeeds says whether the needs fit the figure's columns.
func (d *Definition) checkNeeds() error {
	for _, one := range d.needs {
		columns := d.Points
		if one.answer {
			columns = d.Answer
		}
		for _, name := range one.columns {
			if !slices.ContainsFunc(columns, func(c Column) bool {
				return c.Name == name && (c.Kind == Count || c.Kind == Units || c.Kind == Number || c.Kind == Share)
			}) {
				return fmt.Errorf("%s: needs tells of %q, which is no count and no number", d.Path, name)
			}
		}
		for _, c := range one.where {
			if !slices.ContainsFunc(d.Points, func(p Column) bool { return p.Name == c.of.column && (p.Kind == Label || p.Kind == Key) }) {
				return fmt.Errorf("%s: needs speaks of rows by %q, which is no label of the points", d.Path, c.of.column)
			}
		}
	}
	return nil
}

// Forget takes away the noughts that nobody counted: those of columns that only a
// feed which is lacking could have filled. It comes after the hiding of small counts,
// which knows them as the noughts that they are.
func (f *Figure) Forget(lacking map[string]bool) {
	f.forget(func(feed string, _ []Cell) bool { return lacking[feed] })
}

// ForgetMissing takes away the noughts of months of which a feed told nothing that would
// have filled them, though it has rows of other months: missing are those months, by
// feed. Rows of no month, and answers, are of the period's months, where the figure reads
// of the period alone.
func (f *Figure) ForgetMissing(missing map[string]map[string]bool, period []string) {
	ofPeriod := slices.ContainsFunc(f.Reads, func(table string) bool { return strings.HasPrefix(table, "period_") }) &&
		!slices.ContainsFunc(f.Reads, func(table string) bool { return strings.HasPrefix(table, "year_") })
	month := f.Index("month")
	f.forget(func(feed string, row []Cell) bool {
		if row != nil && month >= 0 {
			name, _ := row[month].Value.(string)
			return missing[feed][name]
		}
		return ofPeriod && len(period) > 0 && !slices.ContainsFunc(period, func(m string) bool { return !missing[feed][m] })
	})
}

// forget takes noughts away where none of the feeds that could have filled them was
// there: without says so of a feed, in a row of the points or, of nil, in the answer.
func (f *Figure) forget(without func(feed string, row []Cell) bool) {
	for _, one := range f.needs {
		none := func(row []Cell) bool {
			return !slices.ContainsFunc(one.feeds, func(feed string) bool { return !without(feed, row) })
		}
		for _, name := range one.columns {
			if one.answer {
				if none(nil) {
					f.Values[name] = forgotten(f.Values[name])
				}
				continue
			}
			i := f.Index(name)
			for _, row := range f.Rows {
				meets := func(c condition) bool {
					text, _ := row[f.Index(c.of.column)].Value.(string)
					return c.not != slices.ContainsFunc(c.values, func(value string) bool {
						begins, some := strings.CutSuffix(value, "*")
						return text == value || some && strings.HasPrefix(text, begins)
					})
				}
				if none(row) && !slices.ContainsFunc(one.where, func(c condition) bool { return !meets(c) }) {
					row[i] = forgotten(row[i])
				}
			}
		}
	}
}

// ForgetColumn takes away the noughts of a column, where the figure has it.
func (f *Figure) ForgetColumn(name string) {
	if i := f.Index(name); i >= 0 {
		for _, row := range f.Rows {
			row[i] = forgotten(row[i])
		}
	}
}

// forgotten is a cell without the nought that it held.
func forgotten(c Cell) Cell {
	if c.Value == int64(0) || c.Value == 0.0 {
		return Cell{}
	}
	return c
}

// issued are the tables of which every row comes from an issue.
var issued = []string{"episodes", "bags", "plasma_spans", "component_months", "thawed_bags"}

// ForgetMonths takes away the noughts of months of which no issue was read, from a
// figure whose rows are counted by month from issues.
func (f *Figure) ForgetMonths(unread map[string]bool) {
	month := f.Index("month")
	if month < 0 || !slices.ContainsFunc(f.Reads, func(table string) bool { return slices.Contains(issued, table) }) {
		return
	}
	for _, row := range f.Rows {
		if name, _ := row[month].Value.(string); unread[name] {
			for i := range row {
				row[i] = forgotten(row[i])
			}
		}
	}
}
