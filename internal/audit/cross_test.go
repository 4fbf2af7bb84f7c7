package audit

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
)

// crossPolicies are site policies under which both computations must agree;
// each moves values that the defaults leave at rest.
var crossPolicies = []struct{ name, yaml string }{
	{"defaults", ""},
	{"stocked", "concentrate_stocked: yes\nfibrinogen_source_stocked: no\nviscoelastic_over: 80\nfull_dose_units: 3\nbleeding_recorded_in: [events, indication]\n"},
	{"adjusted", "weight_basis: adjusted\npresumed_is_transfused: no\nuse_point_of_care: no\nadult_from_years: 18\nepisode_gap_h: 8\n"},
	{"ideal", "weight_basis: ideal\nbleeding_recorded_in: indication\nassumed_infusion_min: 30\n"},
	{"dated", "over_bleeding: [{value: 1.5}, {from: 2025-06-01, value: 1.8}]\ndose_low: [{value: 10}, {from: 2025-03-30, value: 12}]\n"},
}

// TestSecondComputation holds the SQL of episodes and marks against code in
// another language that was written from the contract alone, over invented
// tables full of edges. What that code says on a difference is in its README.
func TestSecondComputation(t *testing.T) {
	python, err := exec.LookPath("python3")
	if errors.Is(err, exec.ErrNotFound) {
		t.Skip("python3 is not there: the second computation was not made")
	}
	// Another start invents other tables: THAWLINE_CROSS_SEED=100 go test …
	start, _ := strconv.Atoi(os.Getenv("THAWLINE_CROSS_SEED"))
	for i, p := range crossPolicies {
		t.Run(p.name, func(t *testing.T) {
			folder := t.TempDir()
			script(t, python, "invent.py", folder, strconv.Itoa(start+i+1), "150")
			given := Given{Policy: crossPolicy(t, p.yaml), Present: map[string]bool{}}
			e := crossEngine(t, folder, given.Present)
			if err := MarkTables(context.Background(), e, given); err != nil {
				t.Fatal(err)
			}
			for name, query := range map[string]string{
				"episodes": "SELECT * FROM episodes", "evidence": "SELECT * FROM evidence", "units": "SELECT * FROM units", "bags": "SELECT * FROM bags",
				"findings": "SELECT * FROM findings", "rules_run": "SELECT * FROM rules_run",
				"weight_for_age": "SELECT * FROM weight_for_age", "recorded": "SELECT * FROM recorded",
				"marks": "SELECT outcome, basis, coagulopathy, alternative, dose_band, course, mark, because FROM marks ORDER BY mark_row",
			} {
				export(t, e, query, filepath.Join(folder, name+".csv"))
			}
			exportPolicy(t, given.Policy, filepath.Join(folder, "policy.json"))
			said := script(t, python, "recompute.py", "compare", folder, filepath.Join(folder, "marks.csv"), "Europe/London")
			if !strings.Contains(said, "all agree: ") {
				t.Errorf("the second computation says %q", said)
			}
		})
	}
}

// script runs a program of testdata/cross; what it says on failure is the test's.
func script(t *testing.T, python, name string, args ...string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	command := exec.CommandContext(ctx, python, append([]string{"-B", filepath.Join("../../testdata/cross", name)}, args...)...)
	said, err := command.CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", name, err, said)
	}
	return string(said)
}

func crossPolicy(t *testing.T, yaml string) *policy.Policy {
	t.Helper()
	if yaml == "" {
		return policy.Default()
	}
	return policyFrom(t, yaml)
}

// crossEngine holds the invented tables as the layer current.
func crossEngine(t *testing.T, folder string, present map[string]bool) *engine.Engine {
	t.Helper()
	e := caseEngine(t)
	for _, table := range contract.Feeds() {
		file, err := os.Open(filepath.Join(folder, table.Name+".csv"))
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(file).ReadAll()
		file.Close()
		if err != nil {
			t.Fatal(err)
		}
		present[table.Name] = true
		fillTable(t, e, table, rows)
	}
	return e
}

// fillTable turns text into the types of the contract; an empty cell is null.
func fillTable(t *testing.T, e *engine.Engine, table *contract.Table, rows [][]string) {
	t.Helper()
	ctx := context.Background()
	var texts []contract.Column
	var casts []string
	for _, name := range rows[0] {
		column := table.Column(name)
		if column == nil {
			t.Fatalf("%s has no column %s", table.Name, name)
		}
		texts = append(texts, contract.Column{Name: name})
		casts = append(casts, fmt.Sprintf("CAST(nullif(%[1]s, '') AS %[2]s) AS %[1]s", engine.Name(name), column.Kind.SQL()))
	}
	cells := make([][]any, len(rows)-1)
	for i, row := range rows[1:] {
		for _, cell := range row {
			cells[i] = append(cells[i], cell)
		}
	}
	if err := e.Load(ctx, "told", texts, cells); err != nil {
		t.Fatal(err)
	}
	err := e.Exec(ctx, table.Name, fmt.Sprintf("INSERT INTO %s BY NAME SELECT %s FROM told; DROP TABLE told;", table.Name, strings.Join(casts, ", ")))
	if err != nil {
		t.Fatal(err)
	}
}

// export writes a query's rows as the program's verb query does: times in UTC,
// null empty.
func export(t *testing.T, e *engine.Engine, query, path string) {
	t.Helper()
	names, rows, err := e.Rows(context.Background(), "export", query)
	if err != nil {
		t.Fatal(err)
	}
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	w := csv.NewWriter(file)
	w.Write(names)
	for _, row := range rows {
		cells := make([]string, len(row))
		for i, cell := range row {
			switch v := cell.(type) {
			case nil:
			case time.Time:
				cells[i] = v.UTC().Format("2006-01-02 15:04:05.999999")
			case float64:
				cells[i] = strconv.FormatFloat(v, 'f', -1, 64)
			default:
				cells[i] = fmt.Sprint(v)
			}
		}
		w.Write(cells)
	}
	w.Flush()
	if err := w.Error(); err != nil {
		t.Fatal(err)
	}
}

func exportPolicy(t *testing.T, p *policy.Policy, path string) {
	t.Helper()
	var periods []map[string]any
	for _, row := range p.Rows() {
		values := map[string]any{}
		for i, column := range p.Columns() {
			values[column.Name] = row[i]
			if at, ok := row[i].(time.Time); ok {
				values[column.Name] = at.Format(time.DateOnly)
			}
		}
		periods = append(periods, values)
	}
	text, err := json.Marshal(periods)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
}
