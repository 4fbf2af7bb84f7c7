package policy

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"thawline/internal/contract"
	"thawline/queries"
)

// facts names the columns of the decision table that a row is matched on, each
// with its words, in the order of the columns.
var facts = []struct {
	name  string
	words []string
}{
	{"outcome", contract.Outcomes},
	{"basis", contract.Bases},
	{"coagulopathy", contract.Coagulopathies},
	{"alternative", contract.Alternatives},
	{"dose_band", contract.Bands},
	{"course", contract.Courses},
}

// DecisionTable turns an episode's facts into its mark: the first row that
// matches wins.
type DecisionTable struct {
	rows []tableRow
}

type tableRow struct {
	line  int
	cells []string // as written, one a column of the file
	sets  [][]bool // by fact, by word: does the row take it
}

// Table reads the policy's decision table: the site's, or the default one.
func (p *Policy) Table() (*DecisionTable, error) { return LoadTable(p.TablePath) }

// LoadTable reads and checks a decision table; an empty path gives the default
// one. What is wrong comes back as *Faults: unknown words, rows that can never
// be reached, combinations without a row.
func LoadTable(path string) (*DecisionTable, error) {
	if path == "" {
		data, err := queries.FS.ReadFile("marks.csv")
		if err != nil {
			return nil, err
		}
		return ParseTable("marks.csv", data)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("decision table: %w", err)
	}
	return ParseTable(path, data)
}

// ParseTable checks a decision table given as CSV; name stands in its faults.
func ParseTable(name string, data []byte) (*DecisionTable, error) {
	faults := &Faults{File: name}
	fault := func(line int, format string, args ...any) {
		faults.List = append(faults.List, Fault{Line: line, Message: fmt.Sprintf(format, args...)})
	}
	t := &DecisionTable{}
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff"))))
	r.FieldsPerRecord = -1
	wanted := tableHeader()
	header, err := r.Read()
	if err != nil || !slices.Equal(header, wanted) {
		fault(1, "wanted the header %s", strings.Join(wanted, ","))
		return nil, faults
	}
	for {
		cells, err := r.Read()
		if err == io.EOF {
			break
		}
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			fault(parse.Line, "not CSV: %v", parse.Err)
			break
		}
		line, _ := r.FieldPos(0)
		if len(cells) != len(wanted) {
			fault(line, "found %d columns, wanted %d; put a reason that holds a comma in quotes", len(cells), len(wanted))
			continue
		}
		row := tableRow{line: line, cells: cells, sets: make([][]bool, len(facts))}
		for i, fact := range facts {
			row.sets[i] = make([]bool, len(fact.words))
			for _, w := range strings.Split(cells[i], "|") {
				at := slices.Index(fact.words, w)
				switch {
				case cells[i] == "*":
					for j := range row.sets[i] {
						row.sets[i][j] = true
					}
				case at < 0:
					fault(line, "%s: %s", fact.name, unknown(w, fact.words))
				default:
					row.sets[i][at] = true
				}
			}
		}
		if mark := cells[len(facts)]; !slices.Contains(contract.Marks, mark) {
			fault(line, "mark: %s", unknown(mark, contract.Marks))
		}
		if strings.TrimSpace(cells[len(facts)+1]) == "" {
			fault(line, "because: found nothing, wanted the reason that the pack prints")
		}
		t.rows = append(t.rows, row)
	}
	if len(faults.List) == 0 {
		t.coverage(fault)
	}
	if len(faults.List) > 0 {
		return nil, faults
	}
	return t, nil
}

// namedGaps is how many combinations without a row are named one by one.
const namedGaps = 3

// coverage goes over every combination of the words (4,752 of them) and
// reports rows that none reaches and combinations that reach none.
func (t *DecisionTable) coverage(fault func(line int, format string, args ...any)) {
	reached := make([]bool, len(t.rows))
	blockers := make([]map[int]bool, len(t.rows))
	for i := range blockers {
		blockers[i] = map[int]bool{}
	}
	var gaps int
	var first []string
	at := make([]int, len(facts))
	for more := true; more; more = next(at) {
		winner := -1
		for i := range t.rows {
			if !t.rows[i].matches(at) {
				continue
			}
			if winner < 0 {
				winner = i
				reached[i] = true
			} else if !reached[i] {
				blockers[i][t.rows[winner].line] = true
			}
		}
		if winner < 0 {
			gaps++
			if len(first) < namedGaps {
				named := make([]string, len(facts))
				for i, fact := range facts {
					named[i] = fact.name + " " + fact.words[at[i]]
				}
				first = append(first, strings.Join(named, ", "))
			}
		}
	}
	for i, row := range t.rows {
		if !reached[i] {
			var lines []int
			for line := range blockers[i] {
				lines = append(lines, line)
			}
			slices.Sort(lines)
			fault(row.line, "this row can never be reached: the rows on %s take all it would; move it up or take it out", lineList(lines))
		}
	}
	if gaps > 0 {
		last := 1
		if len(t.rows) > 0 {
			last = t.rows[len(t.rows)-1].line
		}
		fault(last, "%d combinations reach no row, the first: %s; add a row for them", gaps, strings.Join(first, "; "))
	}
}

func lineList(lines []int) string {
	word := "line "
	if len(lines) > 1 {
		word = "lines "
	}
	return word + strings.Trim(strings.Join(strings.Fields(fmt.Sprint(lines)), ", "), "[]")
}

func (r *tableRow) matches(at []int) bool {
	for i, word := range at {
		if !r.sets[i][word] {
			return false
		}
	}
	return true
}

// next counts at up by one, the last fact fastest; false after the last
// combination.
func next(at []int) bool {
	for i := len(at) - 1; i >= 0; i-- {
		if at[i]++; at[i] < len(facts[i].words) {
			return true
		}
		at[i] = 0
	}
	return false
}

func tableHeader() []string {
	var names []string
	for _, fact := range facts {
		names = append(names, fact.name)
	}
	return append(names, "mark", "because")
}

// Columns gives the columns of the table marks; all but mark_row are text.
func (t *DecisionTable) Columns() []contract.Column {
	columns := []contract.Column{{Name: "mark_row", Kind: contract.Int, Required: true, Doc: "row of the decision table, 1-based, header not counted"}}
	for _, name := range tableHeader() {
		columns = append(columns, contract.Column{Name: name, Kind: contract.Text, Required: true, Doc: "as written in the decision table"})
	}
	return columns
}

// Rows gives the rows of the table marks, cells in the order of Columns:
// an int64, then strings as written (* for any, | between words).
func (t *DecisionTable) Rows() [][]any {
	rows := make([][]any, len(t.rows))
	for i, r := range t.rows {
		row := []any{int64(i + 1)}
		for _, cell := range r.cells {
			row = append(row, cell)
		}
		rows[i] = row
	}
	return rows
}

// Mark gives the row (1-based), mark and reason for a combination of facts in
// the order outcome, basis, coagulopathy, alternative, dose_band, course; row 0
// where a word is unknown or their number is wrong.
func (t *DecisionTable) Mark(words ...string) (row int, mark, because string) {
	if len(words) != len(facts) {
		return 0, "", ""
	}
	at := make([]int, len(facts))
	for i, fact := range facts {
		if at[i] = slices.Index(fact.words, words[i]); at[i] < 0 {
			return 0, "", ""
		}
	}
	for i, r := range t.rows {
		if r.matches(at) {
			return i + 1, r.cells[len(facts)], r.cells[len(facts)+1]
		}
	}
	return 0, "", ""
}
