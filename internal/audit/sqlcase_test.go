package audit

import (
	"context"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/tools/txtar"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/queries"
)

// sqlCases is where the cases of single queries lie: <stage>/<query>/*.txtar.
const sqlCases = "../../testdata/sql"

// caseDefaults fills required columns that a case does not show.
var caseDefaults = map[string]map[string]string{
	"issues":  {"product_code": "F", "is_batch": "false", "component": "plasma", "fate": "presumed"},
	"labs":    {"test": "inr", "point_of_care": "false", "status": "final"},
	"events":  {"kind": "bleeding"},
	"bedside": {"product_code": "F"},
}

// TestCurrentQueries runs the queries of current over small source tables. A
// case is a txtar file in the folder of the query that it is about: a sentence,
// "in/<table>.csv" for each source table, and "want.csv", the rows of that
// query's table, by the columns shown. A column not shown and an empty cell are
// null; reading is the place in source order (1 where not shown); source_row
// counts from 2 in each table unless shown. Each case is run with its rows put
// in forwards on one thread and backwards on four: the result must be the same.
func TestCurrentQueries(t *testing.T) {
	// The clock's tables are the same for every case.
	forwards, backwards := currentEngine(t, 1), currentEngine(t, 4)
	eachSQLCase(t, "1-current", func(t *testing.T, query string, archive *txtar.Archive) {
		if got, want := sqlCase(t, forwards, query, archive, false); got != want {
			t.Errorf("got\n%s\nwant\n%s", got, want)
		}
		if got, want := sqlCase(t, backwards, query, archive, true); got != want {
			t.Errorf("with its rows put in backwards: got\n%s\nwant\n%s", got, want)
		}
	})
}

// eachSQLCase runs a test over every case of a stage's queries.
func eachSQLCase(t *testing.T, stage string, one func(t *testing.T, query string, archive *txtar.Archive)) {
	files, err := filepath.Glob(filepath.Join(sqlCases, stage, "*", "*.txtar"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no cases (%v)", err)
	}
	for _, file := range files {
		query := filepath.Base(filepath.Dir(file))
		t.Run(query+"/"+strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			archive, err := txtar.ParseFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if strings.TrimSpace(string(archive.Comment)) == "" {
				t.Error("the case says nothing: wanted a sentence first")
			}
			one(t, query, archive)
		})
	}
}

// sqlCase runs a case; changed are queries that take the place of those of
// their name.
func sqlCase(t *testing.T, e *engine.Engine, query string, archive *txtar.Archive, backwards bool, changed ...*Query) (got, want string) {
	t.Helper()
	ctx := context.Background()
	emptySources(t, e)
	orders := map[string]bool{}
	var readings [][]any
	var wanted [][]string
	for _, part := range archive.Files {
		rows, err := csv.NewReader(strings.NewReader(string(part.Data))).ReadAll()
		if err != nil {
			t.Fatalf("%s: %v", part.Name, err)
		}
		if part.Name == "want.csv" {
			wanted = rows
			continue
		}
		table := contract.Find(strings.TrimSuffix(strings.TrimPrefix(part.Name, "in/"), ".csv"))
		if table == nil {
			t.Fatalf("%s is no table", part.Name)
		}
		header, rows := sourceRows(table.Name, rows)
		if backwards {
			slices.Reverse(rows)
		}
		insertRows(t, e, "source_"+table.Name, header, rows)
		for _, row := range rows {
			if at := row[slices.Index(header, "reading_file")]; !orders[at] {
				orders[at] = true
				var order int64
				fmt.Sscan(at, &order)
				readings = append(readings, []any{at, order})
			}
		}
	}
	if err := e.Load(ctx, "readings", readingColumns, readings); err != nil {
		t.Fatal(err)
	}
	ordered, err := currentQueries()
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range changed {
		ordered[slices.IndexFunc(ordered, func(other *Query) bool { return other.Name == q.Name })] = q
	}
	if query == "alias_circles" {
		err = Run(ctx, e, needed(ordered, query))
	} else {
		err = resolve(ctx, e, needed(ordered, query, "alias_circles"))
	}
	if err != nil && len(changed) > 0 {
		return err.Error(), "no error"
	}
	if err != nil {
		t.Fatal(err)
	}
	return sortedUnless(isOrdered(query), tableLines(t, e, engine.Name(query), wanted[0]), wantLines(wanted))
}

// needed are those of ordered queries that make the named tables, at first or
// second hand.
func needed(ordered []*Query, names ...string) []*Query {
	var all []*Query
	for _, q := range slices.Backward(ordered) {
		if slices.Contains(names, q.Name) {
			all, names = append(all, q), append(names, q.Reads()...)
		}
	}
	slices.Reverse(all)
	return all
}

// tableLines gives columns of a table, or of a join, as lines of text, a line a
// row: times without empty seconds, null empty.
func tableLines(t *testing.T, e *engine.Engine, from string, names []string) []string {
	t.Helper()
	columns := make([]string, len(names))
	for i, name := range names {
		columns[i] = engine.Name(name)
	}
	_, rows, err := e.Rows(context.Background(), from, "SELECT "+strings.Join(columns, ", ")+" FROM "+from)
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for _, row := range rows {
		cells := make([]string, len(row))
		for i, cell := range row {
			switch v := cell.(type) {
			case nil:
			case time.Time:
				cells[i] = strings.TrimSuffix(v.Format("2006-01-02T15:04:05.999999"), ":00")
			case float64:
				cells[i] = strconv.FormatFloat(v, 'f', -1, 64)
			default:
				cells[i] = fmt.Sprint(v)
			}
		}
		lines = append(lines, strings.Join(cells, ","))
	}
	return lines
}

// wantLines are the rows wanted in the form of tableLines.
func wantLines(rows [][]string) []string {
	var lines []string
	for _, row := range rows[1:] {
		lines = append(lines, strings.Join(row, ","))
	}
	return lines
}

// sortedUnless joins lines, in an order of their own unless theirs counts.
func sortedUnless(ordered bool, got, want []string) (string, string) {
	if !ordered {
		slices.Sort(got)
		slices.Sort(want)
	}
	return strings.Join(got, "\n"), strings.Join(want, "\n")
}

// isOrdered says that a query's table is stored in the order it comes in.
func isOrdered(query string) bool { return contract.Find(query) != nil && query != "labs" }

// currentEngine has the macros and the clock of London.
func currentEngine(t *testing.T, threads int) *engine.Engine {
	t.Helper()
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir(), Threads: threads})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { e.Close() })
	withClock(t, e)
	return e
}

// withClock gives an engine the macros and the clock of London.
func withClock(t *testing.T, e *engine.Engine) {
	t.Helper()
	ctx := context.Background()
	macros, err := queries.FS.ReadFile("macros.sql")
	if err != nil {
		t.Fatal(err)
	}
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	if err := e.Exec(ctx, "macros.sql", string(macros)); err != nil {
		t.Fatal(err)
	}
	if err := e.Zone(ctx, london); err != nil {
		t.Fatal(err)
	}
}

// emptySources makes every source table, without a row.
func emptySources(t *testing.T, e *engine.Engine) {
	t.Helper()
	for _, table := range contract.Feeds() {
		columns := append(table.SourceColumns(), contract.Column{Name: "reading_file"})
		if err := e.Load(context.Background(), "source_"+table.Name, columns, nil); err != nil {
			t.Fatal(err)
		}
	}
}

// sourceRows completes the rows of a case with what every stored row has.
func sourceRows(table string, rows [][]string) (header []string, whole [][]string) {
	header = slices.Clone(rows[0])
	column := func(name, value string) {
		if !slices.Contains(header, name) {
			header = append(header, name)
			for i := range whole {
				whole[i] = append(whole[i], value)
			}
		}
	}
	for _, row := range rows[1:] {
		whole = append(whole, slices.Clone(row))
	}
	names := make([]string, 0)
	for name := range caseDefaults[table] {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		column(name, caseDefaults[table][name])
	}
	column("reading", "1")
	if at := slices.Index(header, "product_code"); at >= 0 && !slices.Contains(header, "bag_code") {
		header = append(header, "bag_code")
		for i := range whole {
			whole[i] = append(whole[i], whole[i][at])
		}
	}
	if !slices.Contains(header, "source_row") {
		header = append(header, "source_row")
		for i := range whole {
			whole[i] = append(whole[i], fmt.Sprint(i+2))
		}
	}
	at := slices.Index(header, "reading")
	header[at] = "reading_file"
	header = append(header, "source_file")
	for i := range whole {
		whole[i] = append(whole[i], "f"+whole[i][at]+".csv")
	}
	return header, whole
}

// insertRows puts rows of text into a table; an empty cell is null. One statement
// for all: each takes the engine a millisecond.
func insertRows(t *testing.T, e *engine.Engine, table string, header []string, rows [][]string) {
	t.Helper()
	if len(rows) == 0 {
		return
	}
	names := make([]string, len(header))
	for i, name := range header {
		names[i] = engine.Name(name)
	}
	lines := make([]string, len(rows))
	for r, row := range rows {
		cells := make([]string, len(row))
		for i, cell := range row {
			cells[i] = "NULL"
			if cell != "" {
				cells[i] = engine.Quote(strings.TrimSuffix(cell, "Z"))
			}
		}
		lines[r] = "(" + strings.Join(cells, ", ") + ")"
	}
	query := fmt.Sprintf("INSERT INTO %s (%s) VALUES %s", engine.Name(table), strings.Join(names, ", "), strings.Join(lines, ", "))
	if err := e.Exec(context.Background(), "case table "+table, query); err != nil {
		t.Fatal(err)
	}
}

// TestEveryQueryHasACase holds the folders of cases against the queries, and the
// other way round.
func TestEveryQueryHasACase(t *testing.T) {
	for _, stage := range append([]string{"1-current"}, markStages...) {
		all, err := LoadQueries(queries.FS, stage)
		if err != nil || len(all) == 0 {
			t.Fatalf("%s: %d queries (%v)", stage, len(all), err)
		}
		named := map[string]bool{}
		for _, q := range all {
			named[q.Name] = true
			if cases, _ := filepath.Glob(filepath.Join(sqlCases, stage, q.Name, "*.txtar")); len(cases) == 0 {
				t.Errorf("%s has no case", q.Path)
			}
		}
		folders, _ := os.ReadDir(filepath.Join(sqlCases, stage))
		for _, folder := range folders {
			if !named[folder.Name()] {
				t.Errorf("%s: cases of a query that there is not", filepath.Join(sqlCases, stage, folder.Name()))
			}
		}
	}
}
