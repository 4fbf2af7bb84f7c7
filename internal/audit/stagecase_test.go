package audit

import (
	"context"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"golang.org/x/tools/txtar"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
)

// TestStageQueries runs each query of episodes, basis and marks by itself over
// the tables that it reads. A case is a txtar file in the folder of its query: a
// sentence; "in/<table>.csv" for tables that it reads, those not shown being
// empty and columns not shown null; "want.csv", the rows of the query's table, by
// the columns shown. The part "defaults" fills columns, a line a table: "issues:
// fate=transfused component=plasma". The tables of the policy hold the defaults,
// changed by the lines of the part "policy" ("dose_low=12") or by "policy.yaml",
// unless the case gives them itself; the clock is London's. Rows are put in
// forwards on one thread and backwards on four: the result must be the same.
// Tables that are read by the place of a row stand under "kept in order"; "from"
// tells what to read of the result, where the query's table alone says too little.
func TestStageQueries(t *testing.T) {
	forwards, backwards := newStage(t, 1), newStage(t, 4)
	for _, stage := range markStages {
		eachSQLCase(t, stage, func(t *testing.T, query string, archive *txtar.Archive) {
			if got, want := forwards.run(t, query, archive, false); got != want {
				t.Errorf("got\n%s\nwant\n%s", got, want)
			}
			if got, want := backwards.run(t, query, archive, true); got != want {
				t.Errorf("with its rows put in backwards: got\n%s\nwant\n%s", got, want)
			}
		})
	}
}

// stage is an engine with every table of episodes and marks, empty.
type stage struct {
	e *engine.Engine
	// queries stand by name; columns are those of each table, with their types.
	queries map[string]*Query
	columns map[string]map[string]string
}

func newStage(t *testing.T, threads int) *stage {
	t.Helper()
	ctx := context.Background()
	s := &stage{e: currentEngine(t, threads), queries: map[string]*Query{}, columns: map[string]map[string]string{}}
	for _, table := range append(contract.Feeds(), contract.Recorded) {
		if err := s.e.Load(ctx, table.Name, table.Columns, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := loadGiven(ctx, s.e, Given{Policy: policy.Default()}); err != nil {
		t.Fatal(err)
	}
	ordered, err := markQueries()
	if err == nil {
		err = Run(ctx, s.e, ordered)
	}
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range ordered {
		s.queries[q.Name] = q
	}
	_, rows, err := s.e.Rows(ctx, "columns", "SELECT table_name, column_name, data_type FROM information_schema.columns")
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows {
		table := row[0].(string)
		if s.columns[table] == nil {
			s.columns[table] = map[string]string{}
		}
		s.columns[table][row[1].(string)] = row[2].(string)
	}
	return s
}

// givenTables hold the policy and the clock unless a case gives them.
var givenTables = []string{"policy", "building", "weight_for_age", "marks", "local_days", "zone"}

func (s *stage) run(t *testing.T, name string, archive *txtar.Archive, backwards bool) (got, want string) {
	t.Helper()
	ctx := context.Background()
	q := s.queries[name]
	if q == nil {
		t.Fatalf("%s is no query", name)
	}
	p := policy.Default()
	defaults := map[string][]string{}
	var inOrder []string
	from := engine.Name(name)
	for _, part := range archive.Files {
		lines := strings.Split(strings.TrimSpace(string(part.Data)), "\n")
		switch part.Name {
		case "policy":
			for _, line := range lines {
				key, value, _ := strings.Cut(line, "=")
				if err := p.Set(key, value); err != nil {
					t.Fatal(err)
				}
			}
		case "kept in order":
			inOrder = lines
		case "from":
			from = lines[0]
		case "policy.yaml":
			p = policyFrom(t, string(part.Data))
		case "defaults":
			for _, line := range lines {
				table, fields, _ := strings.Cut(line, ":")
				defaults[table] = strings.Fields(fields)
			}
		}
	}
	if err := PolicyTables(ctx, s.e, p); err != nil {
		t.Fatal(err)
	}
	if err := Run(ctx, s.e, []*Query{s.queries["building"]}); err != nil {
		t.Fatal(err)
	}
	for _, table := range q.Reads() {
		if !slices.Contains(givenTables, table) {
			s.empty(t, table)
		}
	}
	var wanted [][]string
	for _, part := range archive.Files {
		table, isInput := strings.CutPrefix(strings.TrimSuffix(part.Name, ".csv"), "in/")
		if !isInput && part.Name != "want.csv" {
			continue
		}
		reader := csv.NewReader(strings.NewReader(string(part.Data)))
		reader.Comment = '#'
		rows, err := reader.ReadAll()
		if err != nil || len(rows) == 0 {
			t.Fatalf("%s: %v", part.Name, err)
		}
		if !isInput {
			wanted = rows
			continue
		}
		if !slices.Contains(q.Reads(), table) {
			t.Fatalf("%s is given, but %s does not read it", table, name)
		}
		rows = withFields(rows, defaults[table])
		if backwards && !slices.Contains(inOrder, table) {
			slices.Reverse(rows[1:])
		}
		s.empty(t, table)
		s.fill(t, table, rows)
	}
	if err := Run(ctx, s.e, []*Query{q}); err != nil {
		t.Fatal(err)
	}
	if wanted == nil {
		t.Fatal("the case wants nothing")
	}
	lines := strings.Split(strings.TrimSpace(q.SQL), "\n")
	return sortedUnless(strings.HasPrefix(lines[len(lines)-1], "ORDER BY"), tableLines(t, s.e, from, wanted[0]), wantLines(wanted))
}

// empty makes a table anew, without a row.
func (s *stage) empty(t *testing.T, table string) {
	t.Helper()
	var columns []string
	for name, kind := range s.columns[table] {
		columns = append(columns, engine.Name(name)+" "+kind)
	}
	if columns == nil {
		t.Fatalf("%s is no table", table)
	}
	slices.Sort(columns)
	if err := s.e.Exec(context.Background(), table, "CREATE OR REPLACE TABLE "+engine.Name(table)+" ("+strings.Join(columns, ", ")+")"); err != nil {
		t.Fatal(err)
	}
}

// fill puts rows of text into a table; an empty cell is null.
func (s *stage) fill(t *testing.T, table string, rows [][]string) {
	t.Helper()
	if len(rows) == 1 {
		return
	}
	names := make([]string, len(rows[0]))
	for i, name := range rows[0] {
		if s.columns[table][name] == "" {
			t.Fatalf("%s has no column %s", table, name)
		}
		names[i] = engine.Name(name)
	}
	var lines []string
	for _, row := range rows[1:] {
		cells := make([]string, len(row))
		for i, cell := range row {
			cells[i] = "NULL"
			if cell != "" {
				cells[i] = fmt.Sprintf("CAST(%s AS %s)", engine.Quote(strings.TrimSuffix(cell, "Z")), s.columns[table][rows[0][i]])
			}
		}
		lines = append(lines, "("+strings.Join(cells, ", ")+")")
	}
	if err := s.e.Exec(context.Background(), table, fmt.Sprintf("INSERT INTO %s (%s) VALUES %s", engine.Name(table), strings.Join(names, ", "), strings.Join(lines, ", "))); err != nil {
		t.Fatal(err)
	}
}

// withFields adds columns that a table does not show, each with one value.
func withFields(rows [][]string, fields []string) [][]string {
	whole := make([][]string, len(rows))
	for i, row := range rows {
		whole[i] = slices.Clone(row)
		for _, field := range fields {
			name, value, _ := strings.Cut(field, "=")
			if slices.Contains(rows[0], name) {
				continue
			}
			if i == 0 {
				value = name
			}
			whole[i] = append(whole[i], value)
		}
	}
	return whole
}

// policyFrom reads a policy file's text.
func policyFrom(t *testing.T, yaml string) *policy.Policy {
	t.Helper()
	file := filepath.Join(t.TempDir(), "policy.yaml")
	if err := os.WriteFile(file, []byte(yaml), 0o600); err != nil {
		t.Fatal(err)
	}
	p, err := policy.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	return p
}
