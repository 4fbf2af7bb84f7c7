package figure

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"thawline/internal/engine"
)

// meaning says what a column of counts counts: episodes that meet every
// condition. Figures that count the same episodes can then be disclosed
// together.
type meaning struct {
	// columns are the points columns (several: their sum), or one of the answer.
	columns []string
	answer  bool
	// when is month (that of the row), period, year or history.
	when string
	// in are conditions on columns of episodes: one of these values.
	in []condition
	// by are columns of episodes whose value is that of the row's column of the
	// same name.
	by []string
	// inRows says that only all rows together count this.
	inRows bool
	// sumOf, of an answer, are points columns that it is the sum of, over all rows.
	sumOf []string
}

type condition struct {
	column string
	not    bool
	values []string
}

var meansForm = regexp.MustCompile(`^(answer )?([a-z0-9_]+(?: \+ [a-z0-9_]+)*): (.+)$`)

// parseMeans reads a header line of means:
//
//	appropriate: month, mark appropriate
//	one + two + more: year, outcome transfused, in rows
//	episodes: period, by mark, by because
//	answer of: period, mark appropriate|under-dosed, basis not circuit_prime
//	answer n: sum of one + two
func parseMeans(text string) (meaning, error) {
	m := meansForm.FindStringSubmatch(text)
	if m == nil {
		return meaning{}, fmt.Errorf("%q is no meaning, wanted \"column: period, mark appropriate\" or \"answer n: …\"", text)
	}
	one := meaning{answer: m[1] != "", columns: strings.Split(m[2], " + ")}
	if rest, found := strings.CutPrefix(m[3], "sum of "); found && one.answer {
		one.sumOf = strings.Split(rest, " + ")
		return one, nil
	}
	for _, part := range strings.Split(m[3], ",") {
		word, rest, _ := strings.Cut(strings.TrimSpace(part), " ")
		switch {
		case rest == "" && slices.Contains([]string{"month", "period", "year", "history"}, word) && one.when == "":
			one.when = word
		case word == "by" && rest != "":
			one.by = append(one.by, rest)
		case word == "in" && rest == "rows":
			one.inRows = true
		case nameForm.MatchString(word) && rest != "":
			rest, not := strings.CutPrefix(rest, "not ")
			one.in = append(one.in, condition{word, not, strings.Split(rest, "|")})
		default:
			return meaning{}, fmt.Errorf("%q is no condition, wanted month, period, year or history, \"COLUMN value|value\", \"COLUMN not value\", \"by COLUMN\" or \"in rows\"", strings.TrimSpace(part))
		}
	}
	if one.when == "" {
		return meaning{}, fmt.Errorf("%q names no time, wanted month, period, year or history", text)
	}
	if len(one.columns) > 1 && !one.inRows || one.answer && (one.inRows || len(one.by) > 0 || one.when == "month") {
		return meaning{}, fmt.Errorf("%q: a sum of columns goes with \"in rows\", and an answer has no rows", text)
	}
	return one, nil
}

// checkMeans says whether the meanings fit the figure's columns.
func (d *Definition) checkMeans() error {
	for _, m := range d.means {
		columns := d.Points
		if m.answer {
			columns = d.Answer
		}
		for _, name := range m.columns {
			if !slices.ContainsFunc(columns, func(c Column) bool { return c.Name == name && c.Kind == Count }) {
				return fmt.Errorf("%s: means tells of %q, which is no count column", d.Path, name)
			}
		}
		for _, name := range m.sumOf {
			if !slices.ContainsFunc(d.Points, func(c Column) bool { return c.Name == name && c.Kind == Count }) {
				return fmt.Errorf("%s: means of %s is a sum of %q, which is no count column of the points", d.Path, m.columns[0], name)
			}
		}
		for _, name := range append(slices.Clone(m.by), map[bool]string{true: "month"}[m.when == "month"]) {
			if name != "" && !slices.ContainsFunc(d.Points, func(c Column) bool { return c.Name == name && (c.Kind == Label || c.Kind == Month) }) {
				return fmt.Errorf("%s: means of %s goes by %q, which is no label or month of the points", d.Path, strings.Join(m.columns, " + "), name)
			}
		}
	}
	return nil
}

// Spans are the months, YYYY-MM, that the words of meanings stand for: the
// period is From to To, the year YearFrom to To, history HistoryFrom to To.
type Spans struct{ From, To, YearFrom, HistoryFrom string }

func (s Spans) first(when string) string {
	return map[string]string{"period": s.From, "year": s.YearFrom, "history": s.HistoryFrom}[when]
}

// Atoms are the groups of episodes that no figure's meaning tells apart, with
// the size of each.
type Atoms struct {
	spans   Spans
	columns []string
	// values has a row an atom, a value a column; the first column is month.
	values [][]string
	sizes  []int64
}

// LoadAtoms asks the engine for the atoms of figures.
func LoadAtoms(ctx context.Context, e *engine.Engine, figures []*Figure, spans Spans) (*Atoms, error) {
	a := &Atoms{spans: spans, columns: []string{"month"}}
	add := func(name string) {
		if !slices.Contains(a.columns, name) {
			a.columns = append(a.columns, name)
		}
	}
	for _, f := range figures {
		for _, m := range f.means {
			for _, c := range m.in {
				add(c.column)
			}
			for _, name := range m.by {
				add(name)
			}
		}
	}
	quoted := make([]string, len(a.columns))
	for i, name := range a.columns {
		quoted[i] = "coalesce(CAST(episodes." + engine.Name(name) + " AS VARCHAR), '')"
	}
	first := min(spans.HistoryFrom, spans.YearFrom, spans.From)
	_, rows, err := e.Rows(ctx, "what the figures count (their means)", fmt.Sprintf(
		"SELECT %s, count(*) FROM episodes WHERE episodes.month BETWEEN %s AND %s GROUP BY ALL ORDER BY ALL", strings.Join(quoted, ", "), engine.Quote(first), engine.Quote(spans.To)))
	if err != nil {
		return nil, err
	}
	for _, row := range rows {
		values := make([]string, len(a.columns))
		for i := range values {
			values[i], _ = row[i].(string)
		}
		a.values = append(a.values, values)
		size, _ := row[len(a.columns)].(int64)
		a.sizes = append(a.sizes, size)
	}
	return a, nil
}

// of lists the atoms that a meaning counts, in a row of the figure's points
// (nil: in all rows together, or an answer).
func (a *Atoms) of(f *Figure, m meaning, row []Cell) []int {
	label := func(name string) string {
		s, _ := row[f.Index(name)].Value.(string)
		return s
	}
	var list []int
	for i, values := range a.values {
		month := values[0]
		ok := month <= a.spans.To
		if m.when == "month" {
			if row != nil {
				ok = ok && month == label("month")
			}
		} else {
			ok = ok && month >= a.spans.first(m.when)
		}
		for _, c := range m.in {
			ok = ok && slices.Contains(c.values, values[slices.Index(a.columns, c.column)]) != c.not
		}
		for _, name := range m.by {
			ok = ok && row != nil && values[slices.Index(a.columns, name)] == label(name)
		}
		if ok {
			list = append(list, i)
		}
	}
	return list
}

// meaningOf finds what a count of the points or the answer counts; ok is false
// where the figure does not say.
func (d *Definition) meaningOf(column string, answer bool) (m meaning, ok bool) {
	for _, m := range d.means {
		if m.answer == answer && !m.inRows && m.columns[0] == column {
			return m, true
		}
	}
	return meaning{}, false
}
