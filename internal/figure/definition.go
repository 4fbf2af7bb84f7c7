// Package figure turns a query over the audit tables into plain data: points,
// and one row of named values for the sentence. Small counts are hidden here,
// before anything is drawn.
package figure

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strings"
)

// Kind says what a column of a figure holds, and so how it is written and
// whether it must be hidden.
type Kind string

// The kinds of column.
const (
	// Label is text, shown as it is.
	Label Kind = "label"
	// Key is text by which a row's meaning names what it is of: its label says it in
	// words, so that the table has no column of it.
	Key Kind = "key"
	// Month is YYYY-MM.
	Month Kind = "month"
	// Dated is a list of names, each with its month: labs 2026-10, issues 2026-09.
	Dated Kind = "dated"
	// Count counts people or episodes: hidden where it is small.
	Count Kind = "count"
	// Units counts bags or rows, which are no people.
	Units Kind = "units"
	// Share is a fraction of one, made from the counts it names.
	Share Kind = "share"
	// Number is a number made from the counts it names.
	Number Kind = "number"
	// Place is a number by which a bar is placed: its label says it, so that the
	// table has no column of it.
	Place Kind = "place"
	// Test is yes, no or empty.
	Test Kind = "test"
)

var kinds = []Kind{Label, Key, Month, Dated, Count, Units, Share, Number, Place, Test}

// InTable says that tables have columns of the kind.
func (k Kind) InTable() bool { return k != Place && k != Key }

// isText says that its values are text.
func (k Kind) isText() bool { return k == Label || k == Key || k == Month || k == Dated }

// Column is one column of a figure's points or answer.
type Column struct {
	// Name is the column's name in SQL.
	Name string
	// Kind says what it holds.
	Kind Kind
	// From names the counts it is made from: it is hidden where one of them is.
	From []string
	// Title heads the column in the table; {period} and {span} in it are filled in
	// there.
	Title string
}

// Definition is one figure as its file states it.
type Definition struct {
	// Name is the file's name without .sql.
	Name string
	// Path is shown in errors.
	Path string
	// Local says that it is a site's own.
	Local bool
	// Asks is the header's first sentence: the question.
	Asks string
	// Reads lists the tables that it reads.
	Reads []string
	// Points and Answer describe the columns of the two statements, in order.
	Points, Answer []Column
	// NotKnown says in words what the figure leaves out as not known.
	NotKnown string
	// Apart says that neither rows nor columns of counts add up to a total that
	// a reader may know, so that a hidden cell needs no cover.
	Apart bool
	// Foremost says that the pack is read for this figure's share: in sight of
	// one another its counts are the last to be hidden.
	Foremost bool
	// Least says that its counts are the first to be hidden, before those of any
	// other figure.
	Least bool
	// Commonest is the count of the points by which the rows stand, the commonest
	// first, among those that are alike in Within. Where a row's count is hidden, its
	// place would tell between which others it lies: it stands after them, by name.
	Commonest, Within string
	// Total is the count of the points that the other counts of a row add up to, and
	// that is therefore no part of a bar; none where it is empty.
	Total string
	// Steps is a label of the points by which rows are steps of one ladder: those
	// that are alike in it before the sign =. The difference of a count between
	// two steps is itself a count of episodes, and must not be small.
	Steps string

	points, answer string
	means          []meaning
	needs          []need
}

var (
	nameForm   = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)
	columnForm = regexp.MustCompile(`^([a-z][a-z0-9_]*): ([a-z]+)(?: of ([a-z0-9_, ]+))?; (.+)$`)
)

// Parse reads one figure file. Its header is strict:
//
//	-- name: the question it answers.
//	--
//	-- reads:     episodes, period
//	-- points:    month: month; Month
//	--            judged: count; Judged
//	--            share: share of judged, appropriate; Share appropriate
//	-- answer:    n: count; Appropriate
//	-- means:     judged: month, mark appropriate|under-dosed (see parseMeans; optional)
//	-- needs:     judged: labs (see parseNeed; optional)
//	-- hidden:    last, or first (of all figures; optional)
//	-- order:     fired within severity (the commonest first; see Definition.Commonest; optional)
//	-- total:     episodes (what the other counts of a row add up to; optional)
//	-- steps:     tried (rows of one ladder; see Definition.Steps; optional)
//	-- adds up:   no (only where neither rows nor columns add up to a total)
//	-- not known: what is left out
//
// Then stand two statements, parted by a line "-- answer".
func Parse(file, text string) (*Definition, error) {
	d := &Definition{Name: strings.TrimSuffix(path.Base(file), ".sql"), Path: file}
	if !nameForm.MatchString(d.Name) {
		return nil, fmt.Errorf("%s: a figure's file name is lower-case words joined by _", file)
	}
	lines := strings.Split(text, "\n")
	key, end := "", len(lines)
	seen := map[string]bool{}
	for i, line := range lines {
		if !strings.HasPrefix(line, "--") {
			end = i
			break
		}
		fault := func(format string, a ...any) error {
			return fmt.Errorf("%s:%d: %s", file, i+1, fmt.Sprintf(format, a...))
		}
		body := strings.TrimPrefix(line, "--")
		if i == 0 {
			name, rest, found := strings.Cut(strings.TrimSpace(body), ":")
			if !found || name != d.Name || strings.TrimSpace(rest) == "" {
				return nil, fault("the first line is %q, wanted \"-- %s: a question?\"", line, d.Name)
			}
			d.Asks, key = strings.TrimSpace(rest), "asks"
			continue
		}
		if strings.TrimSpace(body) == "" {
			key = ""
			continue
		}
		rest := strings.TrimSpace(body)
		if word, tail, found := strings.Cut(rest, ":"); found && slices.Contains([]string{"reads", "points", "answer", "means", "needs", "adds up", "hidden", "order", "total", "steps", "not known"}, word) && strings.HasPrefix(body, " "+word) {
			if seen[word] {
				return nil, fault("header line %q stands twice", word)
			}
			seen[word] = true
			key, rest = word, strings.TrimSpace(tail)
		}
		switch key {
		case "asks":
			d.Asks += " " + rest
		case "reads":
			for _, name := range strings.FieldsFunc(rest, func(r rune) bool { return r == ',' || r == ' ' }) {
				d.Reads = append(d.Reads, name)
			}
		case "points", "answer":
			c, err := parseColumn(rest)
			if err != nil {
				return nil, fault("%v", err)
			}
			if key == "points" {
				d.Points = append(d.Points, c)
			} else {
				d.Answer = append(d.Answer, c)
			}
		case "means":
			m, err := parseMeans(rest)
			if err != nil {
				return nil, fault("%v", err)
			}
			d.means = append(d.means, m)
		case "needs":
			one, err := parseNeed(rest)
			if err != nil {
				return nil, fault("%v", err)
			}
			d.needs = append(d.needs, one)
		case "adds up":
			if rest != "no" {
				return nil, fault("adds up is %q, wanted \"no\" or no such line", rest)
			}
			d.Apart = true
		case "hidden":
			if rest != "last" && rest != "first" {
				return nil, fault("hidden is %q, wanted \"last\", \"first\" or no such line", rest)
			}
			d.Foremost, d.Least = rest == "last", rest == "first"
		case "order":
			d.Commonest, d.Within, _ = strings.Cut(rest, " within ")
		case "total":
			d.Total = rest
		case "steps":
			d.Steps = rest
		case "not known":
			d.NotKnown = strings.TrimSpace(d.NotKnown + " " + rest)
		default:
			return nil, fault("a header line that begins with none of reads, points, answer, means, needs, adds up, hidden, order, total, steps, not known")
		}
	}
	for _, word := range []string{"reads", "points", "answer"} {
		if !seen[word] {
			return nil, fmt.Errorf("%s: the header has no line \"-- %s: …\"", file, word)
		}
	}
	for _, columns := range [][]Column{d.Points, d.Answer} {
		for _, c := range columns {
			for _, from := range c.From {
				if !slices.ContainsFunc(columns, func(o Column) bool { return o.Name == from && o.Kind == Count }) {
					return nil, fmt.Errorf("%s: column %s is made from %q, which is no count column beside it", file, c.Name, from)
				}
			}
		}
	}
	if d.Commonest != "" && !slices.ContainsFunc(d.Points, func(c Column) bool { return c.Name == d.Commonest && c.Kind == Count }) {
		return nil, fmt.Errorf("%s: rows are in order of %q, which is no count of the points", file, d.Commonest)
	}
	if d.Within != "" && !slices.ContainsFunc(d.Points, func(c Column) bool { return c.Name == d.Within && c.Kind.isText() }) {
		return nil, fmt.Errorf("%s: rows are in order within %q, which is no label of the points", file, d.Within)
	}
	if d.Total != "" && !slices.ContainsFunc(d.Points, func(c Column) bool { return c.Name == d.Total && c.Kind == Count }) {
		return nil, fmt.Errorf("%s: the total is %q, which is no count of the points", file, d.Total)
	}
	if d.Steps != "" && !slices.ContainsFunc(d.Points, func(c Column) bool { return c.Name == d.Steps && (c.Kind == Label || c.Kind == Key) }) {
		return nil, fmt.Errorf("%s: steps go by %q, which is no label of the points", file, d.Steps)
	}
	if err := errors.Join(d.checkMeans(), d.checkNeeds()); err != nil {
		return nil, err
	}
	points, answer, found := strings.Cut("\n"+strings.Join(lines[end:], "\n"), "\n-- answer\n")
	if !found {
		return nil, fmt.Errorf("%s: no line \"-- answer\" parts the two statements", file)
	}
	trim := func(s string) string { return strings.TrimSuffix(strings.TrimSpace(s), ";") }
	d.points, d.answer = trim(points), trim(answer)
	return d, nil
}

func parseColumn(text string) (Column, error) {
	m := columnForm.FindStringSubmatch(text)
	if m == nil {
		return Column{}, fmt.Errorf("%q is no column, wanted \"name: kind; Title\" or \"name: share of a, b; Title\"", text)
	}
	c := Column{Name: m[1], Kind: Kind(m[2]), Title: m[4]}
	if !slices.Contains(kinds, c.Kind) {
		return c, fmt.Errorf("%q is no kind of column, wanted one of %v", m[2], kinds)
	}
	for _, from := range strings.Split(m[3], ",") {
		if from = strings.TrimSpace(from); from != "" {
			c.From = append(c.From, from)
		}
	}
	return c, nil
}

// Load reads every figure of a folder, by name.
func Load(fsys fs.FS, dir, shown string) (map[string]*Definition, error) {
	entries, err := fs.ReadDir(fsys, dir)
	if err != nil {
		return nil, fmt.Errorf("read the figures of %s: %w", shown, err)
	}
	all := map[string]*Definition{}
	for _, entry := range entries {
		if path.Ext(entry.Name()) != ".sql" {
			continue
		}
		text, err := fs.ReadFile(fsys, path.Join(dir, entry.Name()))
		if err != nil {
			return nil, fmt.Errorf("read the figure %s: %w", entry.Name(), err)
		}
		d, err := Parse(path.Join(shown, entry.Name()), string(text))
		if err != nil {
			return nil, err
		}
		all[d.Name] = d
	}
	return all, nil
}
