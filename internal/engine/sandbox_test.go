package engine

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/internal/contract"
)

// sandboxed has two columns of one table of an engine that holds more.
func sandboxed(t *testing.T) *Engine {
	t.Helper()
	ctx := context.Background()
	e := open(t)
	if err := e.Load(ctx, "episodes", []contract.Column{{Name: "episode_id"}, {Name: "patient_id"}, {Name: "mark"}}, [][]any{{"1", "SECRET", "wasted"}, {"2", "SECRET", "returned"}}); err != nil {
		t.Fatal(err)
	}
	if err := e.Load(ctx, "labs", []contract.Column{{Name: "patient_id"}}, [][]any{{"SECRET"}}); err != nil {
		t.Fatal(err)
	}
	box, err := e.Sandbox(ctx, []Part{{Table: "episodes", Columns: []string{"episode_id", "mark"}, Where: "mark <> 'returned'"}}, func(*Engine) error { return nil })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { box.Close() })
	return box
}

// TestSandboxHoldsWhatItWasGiven asks the sandbox itself, past every check of a
// query's text.
func TestSandboxHoldsWhatItWasGiven(t *testing.T) {
	box, ctx := sandboxed(t), context.Background()
	_, rows, err := box.Rows(ctx, "q", "SELECT * FROM episodes")
	if err != nil || len(rows) != 1 || len(rows[0]) != 2 || rows[0][0] != "1" {
		t.Fatalf("the part is %v (%v), want one row of two columns", rows, err)
	}
	if _, _, err := box.Rows(ctx, "q", "CREATE TABLE made AS SELECT * FROM episodes"); err != nil {
		t.Errorf("a rule cannot make its own table: %v", err)
	}
	_, rows, err = box.Rows(ctx, "q", "SELECT DISTINCT table_name, column_name FROM duckdb_columns() WHERE NOT internal AND table_name <> 'made' ORDER BY ALL")
	if err != nil || len(rows) != 2 {
		t.Errorf("the catalogue shows %v (%v), want the two columns given", rows, err)
	}
	outside := filepath.Join(t.TempDir(), "outside")
	if err := os.WriteFile(outside+".csv", []byte("cell\nSECRET\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, attack := range []string{
		"SELECT * FROM labs",
		"SELECT patient_id FROM episodes",
		"SELECT * FROM parts.main.labs",
		"INSERT INTO parts.main.episodes VALUES ('3', 'wasted')",
		"SELECT * FROM read_csv('" + outside + ".csv')",
		"SELECT * FROM read_text('" + outside + ".csv')",
		"SELECT * FROM read_blob('" + outside + ".csv')",
		"SELECT * FROM '" + outside + ".csv'",
		"SELECT * FROM glob('/*')",
		"SELECT * FROM parquet_metadata('" + outside + ".csv')",
		"SELECT * FROM sniff_csv('" + outside + ".csv')",
		"COPY episodes TO '" + outside + ".parquet'",
		"COPY episodes FROM '" + outside + ".csv'",
		"EXPORT DATABASE '" + outside + "'",
		"IMPORT DATABASE '" + outside + "'",
		"ATTACH '" + outside + ".duckdb' AS other",
		"INSTALL httpfs",
		"LOAD httpfs",
		"SET enable_external_access = true",
		"SET memory_limit = '8GB'",
		"SET temp_directory = '/tmp'",
		"PRAGMA temp_directory = '/tmp'",
		"RESET lock_configuration",
	} {
		if _, rows, err := box.Rows(ctx, "q", attack); err == nil {
			t.Errorf("%s gave %v", attack, rows)
		} else if strings.Contains(err.Error(), "SECRET") {
			t.Errorf("%s: the error shows a cell: %v", attack, err)
		}
	}
	if files, _ := filepath.Glob(outside + "*"); len(files) != 1 {
		t.Errorf("a query wrote files: %v", files)
	}
	// The plan of a query would open its files to look at their heads.
	_, rows, err = box.Rows(ctx, "q", "SELECT json_serialize_plan('SELECT * FROM read_csv(''"+outside+".csv'')')::VARCHAR")
	if err == nil && !strings.Contains(rows[0][0].(string), "permission") {
		t.Errorf("a plan opened a file: %v", rows)
	}
}

func TestSandboxLimitsTimeAndMemory(t *testing.T) {
	box := sandboxed(t)
	ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
	defer cancel()
	began := time.Now()
	err := box.Exec(ctx, "q", "CREATE TABLE endless AS WITH RECURSIVE n AS (SELECT 1 AS i UNION ALL SELECT i + 1 FROM n) SELECT count(*) AS c FROM n")
	if err == nil || time.Since(began) > 10*time.Second {
		t.Errorf("an endless recursion ran for %s: %v", time.Since(began), err)
	}
	err = box.Exec(context.Background(), "q", "CREATE TABLE large AS SELECT a.i + b.i AS c FROM range(100000) AS a(i), range(100000) AS b(i) ORDER BY c")
	if err == nil || !strings.Contains(err.Error(), "Memory") {
		t.Errorf("a sort of ten thousand million rows: %v, want the end of the memory", err)
	}
}

func TestSandboxLeavesNothingBehind(t *testing.T) {
	temp := t.TempDir()
	e, err := Open(context.Background(), Options{TempDir: temp})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	for _, table := range []string{"here", "nowhere"} {
		e.Exec(context.Background(), "q", "CREATE OR REPLACE TABLE here AS SELECT 1 AS i")
		box, err := e.Sandbox(context.Background(), []Part{{Table: table, Columns: []string{"i"}}}, func(*Engine) error { return nil })
		if (err == nil) != (table == "here") {
			t.Errorf("%s: %v", table, err)
		}
		if err == nil {
			if info, err := os.Stat(box.removes); err != nil || info.Mode().Perm() != 0o700 {
				t.Errorf("the folder of the sandbox: %v %v, want it for the owner alone", info.Mode(), err)
			}
			box.Close()
		}
		if left, _ := filepath.Glob(filepath.Join(temp, "sandbox-*")); len(left) > 0 {
			t.Errorf("%s: %v was left", table, left)
		}
	}
}
