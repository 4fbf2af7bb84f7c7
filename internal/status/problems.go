// Package status tells what stands in a store and what is wrong with it:
// problems and codes without a map, each with its next step; sources, spans of
// time with their gaps, and which layers are behind. It shows no value that
// points to a person.
package status

import (
	"cmp"
	"context"
	"fmt"
	"path"
	"slices"
	"sort"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/normalise"
	"thawline/internal/store"
)

// Severities of a problem beside those of contract.Problems.
const (
	SetAside = "set aside"
	Unmapped = "unmapped"
)

// Severities lists what a problem may be, the gravest first.
var Severities = []string{"rejected", SetAside, "dropped", "suspect", Unmapped, "noted"}

// Problem is one thing that is wrong with rows of the store's sources, however
// often it occurs.
type Problem struct {
	// Severity is one of Severities: rejected and set aside are of rows, the
	// others of cells.
	Severity string `json:"severity"`
	Table    string `json:"table"`
	// Column is the column of the contract; of a row of a wrong width, source_row.
	Column string `json:"column"`
	// Reason holds no value of a row but, where Severity is set aside or
	// unmapped, the code.
	Reason string `json:"reason"`
	// Rows is how often it occurs, Files in how many files.
	Rows  int64 `json:"rows"`
	Files int   `json:"files"`
	// First names up to three files in source order, with the first row of each
	// ("bank_2026-01.csv:12"); of codes the file alone is known.
	First []string `json:"first"`
	// Examples are up to three texts that were written, the most frequent first,
	// of columns that hold codes or units.
	Examples []string `json:"examples,omitempty"`
	// Next says what a person can do about it.
	Next string `json:"next"`
}

// Filter chooses problems: empty lists choose all.
type Filter struct {
	Tables, Severities []string
	// Files are base names, or patterns of them (path.Match).
	Files []string
}

// Readings returns those readings that the filter's tables and files choose. A
// pattern that is none is an error.
func (f Filter) Readings(all []store.Reading) ([]store.Reading, error) {
	for _, pattern := range f.Files {
		if _, err := path.Match(pattern, ""); err != nil {
			return nil, fmt.Errorf("file %q is no pattern: a star stands for any letters, a question mark for one", pattern)
		}
	}
	return slices.DeleteFunc(slices.Clone(all), func(r store.Reading) bool {
		return len(f.Tables) > 0 && !slices.Contains(f.Tables, r.Table) ||
			len(f.Files) > 0 && !slices.ContainsFunc(f.Files, func(pattern string) bool {
				matched, _ := path.Match(pattern, r.File)
				return matched || pattern == r.File
			})
	}), nil
}

// shownPlaces and shownExamples keep a line of problems to a size that a person reads.
const (
	shownPlaces   = 3
	shownExamples = 3
)

// Problems lists what is wrong with the rows of readings, the gravest first,
// then the most frequent. Without severities, all of them. guard knows all
// readings that there are.
func Problems(ctx context.Context, guard *Guard, readings []store.Reading, severities ...string) ([]Problem, error) {
	wanted := func(severity string) bool { return len(severities) == 0 || slices.Contains(severities, severity) }
	all := codeProblems(guard, readings)
	if slices.ContainsFunc(contract.Problems.Column("severity").Codes, wanted) {
		of, err := rowProblems(ctx, readings)
		if err != nil {
			return nil, err
		}
		all = append(all, of...)
	}
	all = slices.DeleteFunc(all, func(p Problem) bool { return !wanted(p.Severity) })
	byGravity(all)
	return all, nil
}

// Trial lists what would be wrong with readings that are not in a store: their
// codes, and the problems counted while they were read.
func Trial(guard *Guard, readings []store.Reading, counts []normalise.ProblemCount) []Problem {
	found, order := grouped(counts)
	var written []example
	tooMany := map[kind]bool{}
	for _, c := range counts {
		k := kind{c.Table, c.Severity, c.Column, c.Reason}
		tooMany[k] = tooMany[k] || c.RawMore > 0
		for text, n := range c.Raw {
			written = append(written, example{k, text, n})
		}
	}
	exemplify(found, slices.DeleteFunc(written, func(e example) bool { return tooMany[e.kind] }))
	all := append(codeProblems(guard, readings), values(order)...)
	byGravity(all)
	return all
}

// byGravity sorts the gravest first, then the most frequent.
func byGravity(all []Problem) {
	sort.SliceStable(all, func(i, j int) bool {
		a, b := &all[i], &all[j]
		if x, y := slices.Index(Severities, a.Severity), slices.Index(Severities, b.Severity); x != y {
			return x < y
		}
		if a.Rows != b.Rows {
			return a.Rows > b.Rows
		}
		return a.Table+"\x00"+a.Column+"\x00"+a.Reason < b.Table+"\x00"+b.Column+"\x00"+b.Reason
	})
}

// kind is what problems are grouped by.
type kind struct{ table, severity, column, reason string }

// rowProblems groups the lines of problems of those readings.
func rowProblems(ctx context.Context, readings []store.Reading) ([]Problem, error) {
	var files []string
	var rows [][]any
	for i := range readings {
		if f := readings[i].FilePath(contract.Problems.Name); f != "" {
			files = append(files, f)
			rows = append(rows, []any{f, readings[i].Table, int64(i)})
		}
	}
	if len(files) == 0 {
		return nil, nil
	}
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		return nil, err
	}
	defer e.Close()
	if err := e.Load(ctx, "readings", []contract.Column{{Name: "reading_file"}, {Name: "table_name"}, {Name: "reading_order", Kind: contract.Int}}, rows); err != nil {
		return nil, err
	}
	if err := e.View(ctx, contract.Problems.Name, contract.Problems.Columns, files, "reading_file"); err != nil {
		return nil, err
	}
	_, groups, err := e.Rows(ctx, "problems", `
SELECT
    readings.table_name,
    problems.severity,
    problems."column",
    problems.reason,
    problems.source_file,
    count(*) AS n,
    min(problems.source_row) AS first_row
FROM problems
JOIN readings ON readings.reading_file = problems.reading_file
GROUP BY readings.reading_order, readings.table_name, problems.severity, problems."column", problems.reason, problems.source_file
ORDER BY readings.reading_order, problems.severity, problems."column", problems.reason`)
	if err != nil {
		return nil, err
	}
	var counts []normalise.ProblemCount
	for _, row := range groups {
		counts = append(counts, normalise.ProblemCount{Table: row[0].(string), Severity: row[1].(string), Column: row[2].(string), Reason: row[3].(string),
			File: row[4].(string), Rows: row[5].(int64), First: row[6].(int64)})
	}
	found, order := grouped(counts)
	if err := addExamples(ctx, e, found); err != nil {
		return nil, err
	}
	return values(order), nil
}

// grouped brings what is wrong in single files together, in the order of the files.
func grouped(counts []normalise.ProblemCount) (found map[kind]*Problem, order []*Problem) {
	found = map[kind]*Problem{}
	for _, c := range counts {
		k := kind{c.Table, c.Severity, c.Column, c.Reason}
		p := found[k]
		if p == nil {
			p = &Problem{Severity: k.severity, Table: k.table, Column: k.column, Reason: k.reason, Next: normalise.NextStep(k.reason)}
			found[k] = p
			order = append(order, p)
		}
		p.Rows += c.Rows
		p.Files++
		if len(p.First) < shownPlaces {
			p.First = append(p.First, fmt.Sprintf("%s:%d", c.File, c.First))
		}
	}
	return found, order
}

func values(order []*Problem) []Problem {
	all := make([]Problem, len(order))
	for i, p := range order {
		all[i] = *p
	}
	return all
}

// addExamples adds what was written, for columns whose values point to nobody.
func addExamples(ctx context.Context, e *engine.Engine, found map[kind]*Problem) error {
	var shown []string
	for k := range found {
		if MayShow(k.table, k.column) {
			shown = append(shown, fmt.Sprintf("(%s, %s)", engine.Quote(k.table), engine.Quote(k.column)))
		}
	}
	if len(shown) == 0 {
		return nil
	}
	sort.Strings(shown)
	_, rows, err := e.Rows(ctx, "examples of problems", `
SELECT readings.table_name, problems.severity, problems."column", problems.reason, problems.raw, count(*) AS n
FROM problems
JOIN readings ON readings.reading_file = problems.reading_file
WHERE problems.raw IS NOT NULL
    AND (readings.table_name, problems."column") IN (`+strings.Join(slices.Compact(shown), ", ")+`)
GROUP BY ALL
ORDER BY n DESC, problems.raw`)
	if err != nil {
		return err
	}
	var written []example
	for _, row := range rows {
		written = append(written, example{kind{row[0].(string), row[1].(string), row[2].(string), row[3].(string)}, row[4].(string), row[5].(int64)})
	}
	exemplify(found, written)
	return nil
}

// example is a text that was written, and in how many rows.
type example struct {
	kind
	text string
	rows int64
}

// exemplify adds to each problem the commonest texts that were written, of columns
// whose texts look like codes.
func exemplify(found map[kind]*Problem, written []example) {
	rows := map[example]int64{}
	for _, e := range written {
		rows[example{kind: e.kind, text: e.text}] += e.rows
	}
	written = written[:0]
	looks := map[kind]*look{}
	for e, n := range rows {
		written = append(written, example{e.kind, e.text, n})
		if looks[e.kind] == nil {
			looks[e.kind] = &look{}
		}
		_, shown := shownExample(e.column, e.text)
		looks[e.kind].add(n, !shown)
	}
	slices.SortFunc(written, func(a, b example) int { return cmp.Or(cmp.Compare(b.rows, a.rows), cmp.Compare(a.text, b.text)) })
	for _, e := range written {
		p := found[e.kind]
		if !looks[e.kind].codes() {
			continue
		}
		if text, ok := shownExample(e.column, e.text); ok && p != nil && len(p.Examples) < shownExamples {
			p.Examples = append(p.Examples, text)
		}
	}
}

// MayShow says that the values of a column point to nobody: codes, units and
// months. Numbers of persons and units, times and results stay where they are.
func MayShow(table, column string) bool {
	t := contract.Find(table)
	if t == nil {
		return false
	}
	c := t.Column(column)
	return c != nil && !c.Identifies && (c.Codes != nil || column == "unit_raw" || column == "month" || column == "product_code")
}
