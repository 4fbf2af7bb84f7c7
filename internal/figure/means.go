package figure

import (
	"context"
	"encoding/binary"
	"fmt"
	"regexp"
	"slices"
	"sort"
	"strings"
	"time"

	"thawline/internal/engine"
)

// meaning says what a column of counts counts: rows of a table that meet every
// condition. Figures that count the same rows can then be disclosed together.
type meaning struct {
	// of is the table, which has a column month; episodes where nothing is said.
	of string
	// columns are the points columns (several: their sum), or one of the answer.
	columns []string
	answer  bool
	// when is month (that of the row), three months (to that of the row), period, year,
	// history, or ever: whatever the month, and without one.
	when string
	// in are conditions on columns of the table: one of these values.
	in []condition
	// by are columns of the table whose value is that of the row's column of the
	// same name.
	by []attribute
	// inRows says that only all rows together count this.
	inRows bool
	// sumOf, of an answer, are points columns that it is the sum of, over the rows
	// whose labels meet the conditions of where.
	sumOf []string
	where []condition
	// alone says why no other count of the pack adds up with this one: it is guarded by
	// itself. Empty for all other meanings.
	alone string
}

type condition struct {
	of     attribute
	not    bool
	values []string
	// names is, in the place of values, a key of the row: what it says is one of the
	// names, parted by |, that the attribute lists.
	names string
}

// attribute is a column of a meaning's table; or, where it is written column@key, of
// judged_again, in which an episode has a row for each value of the policy that
// is tried: the one that the row's label key names (column@tried), or one that
// is always the same (column@dose_low=12). Where it is written @key it is the column
// that the row's label names (first issue: first_issue).
type attribute struct{ column, key, of string }

var attributeForm = regexp.MustCompile(`^([a-z][a-z0-9_]*)?(?:@([a-z][a-z0-9_]*(?:=[0-9.]+)?))?$`)

func parseAttribute(text string) (a attribute, ok bool) {
	m := attributeForm.FindStringSubmatch(text)
	if m == nil || m[1] == "" && (m[2] == "" || strings.Contains(m[2], "=")) {
		return a, false
	}
	return attribute{column: m[1], key: m[2]}, true
}

// ofRow says that the row names the key.
func (a attribute) ofRow() bool { return a.key != "" && !strings.Contains(a.key, "=") }

// in is the attribute as a row of the figure means it.
func (a attribute) in(f *Figure, row []Cell) attribute {
	if a.ofRow() && row != nil {
		a.key, _ = row[f.Index(a.key)].Value.(string)
		if a.column == "" {
			a.column, a.key = strings.ReplaceAll(a.key, " ", "_"), ""
		}
	}
	return a
}

var meansForm = regexp.MustCompile(`^(answer )?([a-z0-9_]+(?: \+ [a-z0-9_]+)*): (.+)$`)

// parseMeans reads a header line of means:
//
//	appropriate: month, mark appropriate
//	one + two + more: year, outcome transfused, in rows
//	episodes: period, by mark, by because
//	answer of: period, mark appropriate|under-dosed, basis not circuit_prime
//	answer n: sum of one + two
//	answer n: sum of one where place here|there where kind none of odd
//	changed: year, changed@tried true
//	answer floor_12: year, changed@dose_low=12 true
//	activations: three months, of haemorrhage_courses
//	activations: year, of haemorrhage_courses, @step true
//	fired: period, of_practice has counted
//	answer of: ever, said true
//	read: alone, no other figure counts what reviewers have read
func parseMeans(text string) (meaning, error) {
	m := meansForm.FindStringSubmatch(text)
	if m == nil {
		return meaning{}, fmt.Errorf("%q is no meaning, wanted \"column: period, mark appropriate\" or \"answer n: …\"", text)
	}
	one := meaning{answer: m[1] != "", columns: strings.Split(m[2], " + ")}
	if why, found := strings.CutPrefix(m[3], "alone, "); found && len(one.columns) == 1 {
		one.alone = strings.TrimSpace(why)
		return one, nil
	}
	if rest, found := strings.CutPrefix(m[3], "sum of "); found && one.answer {
		parts := strings.Split(rest, " where ")
		one.sumOf = strings.Split(parts[0], " + ")
		for _, part := range parts[1:] {
			label, values, _ := strings.Cut(part, " ")
			if !nameForm.MatchString(label) || values == "" {
				return meaning{}, fmt.Errorf("%q is no condition, wanted \"LABEL value|value\" or \"LABEL none of value|value\"", part)
			}
			values, not := strings.CutPrefix(values, "none of ")
			one.where = append(one.where, condition{of: attribute{column: label}, not: not, values: strings.Split(values, "|")})
		}
		return one, nil
	}
	for _, part := range strings.Split(m[3], ",") {
		word, rest, _ := strings.Cut(strings.TrimSpace(part), " ")
		of, isAttribute := parseAttribute(word)
		by, byAttribute := parseAttribute(rest)
		switch {
		case rest == "" && slices.Contains([]string{"month", "period", "year", "history", ever}, word) && one.when == "":
			one.when = word
		case word+" "+rest == threeMonths && one.when == "":
			one.when = threeMonths
		case word == "of" && nameForm.MatchString(rest):
			one.of = rest
		case word == "by" && byAttribute:
			one.by = append(one.by, by)
		case word == "in" && rest == "rows":
			one.inRows = true
		case isAttribute && strings.HasPrefix(rest, "has ") && nameForm.MatchString(rest[4:]):
			one.in = append(one.in, condition{of: of, names: rest[4:]})
		case isAttribute && rest != "" && word != "of":
			rest, not := strings.CutPrefix(rest, "not ")
			one.in = append(one.in, condition{of: of, not: not, values: strings.Split(rest, "|")})
		default:
			return meaning{}, fmt.Errorf("%q is no condition, wanted month, three months, period, year, history or ever, \"of TABLE\", \"COLUMN value|value\", \"COLUMN not value\", \"by COLUMN\" or \"in rows\"", strings.TrimSpace(part))
		}
	}
	if one.when == "" {
		return meaning{}, fmt.Errorf("%q names no time, wanted month, three months, period, year, history or ever", text)
	}
	if len(one.columns) > 1 && !one.inRows || one.answer && (one.inRows || len(one.by) > 0 || one.ofRowsMonth()) {
		return meaning{}, fmt.Errorf("%q: a sum of columns goes with \"in rows\", and an answer has no rows", text)
	}
	hasNames := slices.ContainsFunc(one.in, func(c condition) bool { return c.names != "" })
	if (one.answer || one.inRows) && (hasNames || slices.ContainsFunc(one.attributes(), attribute.ofRow)) {
		return meaning{}, fmt.Errorf("%q: goes by what a row names, and there is no row", text)
	}
	if one.of != "" && slices.ContainsFunc(one.attributes(), func(a attribute) bool { return a.column != "" && a.key != "" }) {
		return meaning{}, fmt.Errorf("%q: only episodes are judged again", text)
	}
	return one, nil
}

const (
	threeMonths = "three months"
	ever        = "ever"
)

// ofRowsMonth says that the time is that of the row.
func (m meaning) ofRowsMonth() bool { return m.when == "month" || m.when == threeMonths }

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
		for _, c := range m.where {
			if !slices.ContainsFunc(d.Points, func(p Column) bool { return p.Name == c.of.column && p.Kind == Label }) {
				return fmt.Errorf("%s: means of %s is a sum where %q, which is no label of the points", d.Path, m.columns[0], c.of.column)
			}
		}
		named := []string{map[bool]string{true: "month"}[m.ofRowsMonth()]}
		for _, by := range m.by {
			named = append(named, by.column)
		}
		for _, c := range m.in {
			named = append(named, c.names)
		}
		for _, a := range m.attributes() {
			if a.ofRow() {
				named = append(named, a.key)
			}
		}
		for _, name := range named {
			if name != "" && !slices.ContainsFunc(d.Points, func(c Column) bool { return c.Name == name && (c.Kind == Label || c.Kind == Key || c.Kind == Month) }) {
				return fmt.Errorf("%s: means of %s goes by %q, which is no label or month of the points", d.Path, strings.Join(m.columns, " + "), name)
			}
		}
	}
	return nil
}

// attributes lists what the meaning asks of a row of its table.
func (m meaning) attributes() []attribute {
	all := slices.Clone(m.by)
	for _, c := range m.in {
		all = append(all, c.of)
	}
	for i := range all {
		all[i].of = m.of
	}
	return all
}

// Spans are the months, YYYY-MM, that the words of meanings stand for: the
// period is From to To, the year YearFrom to To, history HistoryFrom to To.
type Spans struct{ From, To, YearFrom, HistoryFrom string }

func (s Spans) first(when string) string {
	return map[string]string{"period": s.From, "year": s.YearFrom, "history": s.HistoryFrom}[when]
}

// Atoms are the groups of episodes, or of rows of another table, that no figure's
// meaning tells apart, with the size of each.
type Atoms struct {
	spans   Spans
	columns []attribute
	// values has a row an atom, a value a column; the first column is month, and
	// columns of another table than the atom's are empty.
	values [][]string
	sizes  []int64
	// words are the values of each column, each once, and codes the place of an atom's
	// values among them.
	words [][]string
	codes [][]int32
	// parts says, by table, which atoms are of it: they stand together, in order of
	// their months.
	parts map[string]part
}

// part is a stretch of atoms, the last left out.
type part struct{ from, to int }

// within is the stretch of a table's atoms of some months, both included.
func (a *Atoms) within(table, first, last string) part {
	whole := a.parts[table]
	months := a.values[whole.from:whole.to]
	from := sort.Search(len(months), func(i int) bool { return months[i][0] >= first })
	to := sort.Search(len(months), func(i int) bool { return months[i][0] > last })
	return part{whole.from + from, whole.from + max(from, to)}
}

// LoadAtoms asks the engine for the atoms of figures.
func LoadAtoms(ctx context.Context, e *engine.Engine, figures []*Figure, spans Spans) (*Atoms, error) {
	a := &Atoms{spans: spans, columns: []attribute{{column: "month"}}}
	add := func(one attribute) {
		if !slices.Contains(a.columns, one) {
			a.columns = append(a.columns, one)
		}
	}
	for _, f := range figures {
		for _, m := range f.means {
			for _, of := range m.attributes() {
				if !of.ofRow() {
					add(of)
					continue
				}
				for _, row := range f.Rows {
					add(of.in(f, row))
				}
			}
		}
	}
	tables := []string{""}
	for _, f := range figures {
		for _, m := range f.means {
			if !slices.Contains(tables, m.of) {
				tables = append(tables, m.of)
			}
		}
	}
	for _, table := range tables {
		first := min(spans.HistoryFrom, spans.YearFrom, spans.From)
		if slices.ContainsFunc(figures, func(f *Figure) bool {
			return slices.ContainsFunc(f.means, func(m meaning) bool { return m.of == table && m.when == ever })
		}) {
			first = ""
		}
		if err := a.load(ctx, e, table, first); err != nil {
			return nil, err
		}
	}
	a.number()
	return a, nil
}

// number writes the values of atoms as numbers, which are compared faster.
func (a *Atoms) number() {
	places := make([]map[string]int32, len(a.columns))
	a.words = make([][]string, len(a.columns))
	for i := range places {
		places[i] = map[string]int32{}
	}
	for _, values := range a.values {
		codes := make([]int32, len(values))
		for i, word := range values {
			code, found := places[i][word]
			if !found {
				code = int32(len(a.words[i]))
				places[i][word] = code
				a.words[i] = append(a.words[i], word)
			}
			codes[i] = code
		}
		a.codes = append(a.codes, codes)
	}
}

// countedEpisodes is the table of which meanings speak that name none: the episodes,
// with all that figures ask of them (queries/5-shared).
const countedEpisodes = "counted_episodes"

// load asks the engine for the atoms of one table, from a month on.
func (a *Atoms) load(ctx context.Context, e *engine.Engine, table, first string) error {
	counted := table
	if counted == "" {
		counted = countedEpisodes
	}
	from, joins := engine.Name(counted), map[string]string{}
	quoted := make([]string, len(a.columns))
	for i, of := range a.columns {
		in := counted
		switch {
		case i > 0 && of.of != table:
			quoted[i] = "''"
			continue
		case of.key != "":
			if in = joins[of.key]; in == "" {
				in = fmt.Sprintf("again_%d", len(joins))
				joins[of.key] = in
				from += fmt.Sprintf(" LEFT JOIN judged_again AS %[1]s ON %[1]s.episode_id = %[3]s.episode_id AND %[1]s.tried = %[2]s", in, engine.Quote(of.key), countedEpisodes)
			}
		}
		quoted[i] = fmt.Sprintf("coalesce(CAST(%s.%s AS VARCHAR), '')", engine.Name(in), engine.Name(of.column))
	}
	rows, err := e.ManyRows(ctx, "what the figures count (their means)", fmt.Sprintf(
		"SELECT %s FROM %s WHERE %s.month BETWEEN %s AND %s", strings.Join(quoted, ", "), from, engine.Name(counted), engine.Quote(first), engine.Quote(a.spans.To)))
	if err != nil {
		return err
	}
	// Hardly two rows are alike in all columns: here they are put together in a tenth
	// of the time that the engine takes.
	type group struct {
		values []string
		size   int64
	}
	var groups []*group
	named := map[string]*group{}
	var name []byte
	for _, row := range rows {
		name = name[:0]
		for _, cell := range row {
			word, _ := cell.(string)
			name = append(binary.AppendUvarint(name, uint64(len(word))), word...)
		}
		one := named[string(name)]
		if one == nil {
			one = &group{values: make([]string, len(a.columns))}
			for i := range one.values {
				one.values[i], _ = row[i].(string)
			}
			named[string(name)], groups = one, append(groups, one)
		}
		one.size++
	}
	slices.SortFunc(groups, func(g, h *group) int { return slices.Compare(g.values, h.values) })
	if a.parts == nil {
		a.parts = map[string]part{}
	}
	a.parts[table] = part{len(a.values), len(a.values) + len(groups)}
	for _, one := range groups {
		a.values, a.sizes = append(a.values, one.values), append(a.sizes, one.size)
	}
	return nil
}

// of lists the atoms that a meaning counts, in a row of the figure's points
// (nil: in all rows together, or an answer).
func (a *Atoms) of(f *Figure, m meaning, row []Cell) []int {
	label := func(name string) string {
		s, _ := row[f.Index(name)].Value.(string)
		return s
	}
	place := func(of attribute) int {
		of.of = m.of
		return slices.Index(a.columns, of.in(f, row))
	}
	// What asks for much, a pack of ten years thousands of times, is asked once.
	first, last := "", a.spans.To
	switch {
	case !m.ofRowsMonth():
		first = a.spans.first(m.when)
	case row != nil:
		first, last = rowMonths(label("month"), m.when == threeMonths)
		last = min(last, a.spans.To)
	}
	// tests are the columns asked, each with the values that pass.
	type test struct {
		column int
		passes []bool
	}
	var tests []test
	ask := func(of attribute, passes func(word string) bool) {
		one := test{column: place(of)}
		for _, word := range a.words[one.column] {
			one.passes = append(one.passes, passes(word))
		}
		tests = append(tests, one)
	}
	for _, c := range m.in {
		if c.names != "" {
			name := label(c.names)
			ask(c.of, func(word string) bool { return slices.Contains(strings.Split(word, "|"), name) })
			continue
		}
		ask(c.of, func(word string) bool { return slices.Contains(c.values, word) != c.not })
	}
	for _, by := range m.by {
		if row == nil {
			return nil
		}
		name := label(by.column)
		ask(by, func(word string) bool { return word == name })
	}
	var list []int
	asked := a.within(m.of, first, last)
	for i := asked.from; i < asked.to; i++ {
		if !slices.ContainsFunc(tests, func(t test) bool { return !t.passes[a.codes[i][t.column]] }) {
			list = append(list, i)
		}
	}
	return list
}

// before says that a row counts months before those of the atoms: what a chart by month
// does not draw, and what only its statistics know. Such a count stands for itself; of
// these months the pack tells nothing else.
func (a *Atoms) before(f *Figure, m meaning, row []Cell) bool {
	if !m.ofRowsMonth() || f.Index("month") < 0 {
		return false
	}
	own, _ := row[f.Index("month")].Value.(string)
	return own < min(a.spans.HistoryFrom, a.spans.YearFrom, a.spans.From)
}

// rowMonths is the first and the last month that a row counts: its own, or the
// two before it too. Of a text that is no month it is no month at all.
func rowMonths(own string, three bool) (first, last string) {
	t, err := time.Parse("2006-01", own)
	if err != nil {
		return "1", ""
	}
	if three {
		return t.AddDate(0, -2, 0).Format("2006-01"), own
	}
	return own, own
}

// unnamed says that a row does not name what its meaning counts by: it stands for
// itself.
func (m meaning) unnamed(f *Figure, row []Cell) bool {
	return slices.ContainsFunc(m.in, func(c condition) bool {
		if c.names == "" {
			return false
		}
		name, _ := row[f.Index(c.names)].Value.(string)
		return name == ""
	})
}

// sumsOf lists the sums that an answer is, beside what meaningOf finds.
func (d *Definition) sumsOf(column string) (sums []meaning) {
	first := true
	for _, m := range d.means {
		if m.answer && m.columns[0] == column {
			if !first && m.sumOf != nil {
				sums = append(sums, m)
			}
			first = false
		}
	}
	return sums
}

// meaningOf finds what a count of the points or the answer counts; ok is false
// where the figure does not say, or says that it counts what no other does.
func (d *Definition) meaningOf(column string, answer bool) (m meaning, ok bool) {
	for _, m := range d.means {
		if m.answer == answer && !m.inRows && m.alone == "" && m.columns[0] == column {
			return m, true
		}
	}
	return meaning{}, false
}

// Untold lists the counts of the figure, points and answer, of which its means say
// nothing at all: neither what they count, nor what they add up to in rows, nor why
// they stand alone.
func (d *Definition) Untold() (names []string) {
	for _, part := range []struct {
		columns []Column
		answer  bool
	}{{d.Points, false}, {d.Answer, true}} {
		for _, c := range part.columns {
			told := slices.ContainsFunc(d.means, func(m meaning) bool { return m.answer == part.answer && slices.Contains(m.columns, c.Name) })
			switch {
			case c.Kind != Count || told:
			case part.answer:
				names = append(names, "answer "+c.Name)
			default:
				names = append(names, c.Name)
			}
		}
	}
	return names
}

// CountsByMonth says that a count of the rows asks of the rows' months' episodes for an
// attribute, as mark.
func (d *Definition) CountsByMonth(attribute string) bool {
	return slices.ContainsFunc(d.means, func(m meaning) bool {
		return m.ofRowsMonth() && slices.ContainsFunc(m.in, func(c condition) bool { return c.of.column == attribute && c.of.key == "" })
	})
}

// explained says that the figure tells of every count of its points. Then what can be
// worked out is known, and no line needs to be covered for the case that a reader
// knows its total.
func (d *Definition) explained() bool {
	return !slices.ContainsFunc(d.Untold(), func(name string) bool { return !strings.HasPrefix(name, "answer ") })
}
