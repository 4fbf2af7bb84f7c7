package engine

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// Part is what a sandbox holds of a table: some of its columns, and the rows
// that a condition lets through (empty: all). Instead gives a column another
// value, in SQL over the table, which is called held there.
type Part struct {
	Table   string
	Columns []string
	Where   string
	Instead map[string]string
}

// sandboxMB is the memory of a sandbox, in MiB. It has no disk to spill to.
const sandboxMB = 400

// Sandbox is an engine of its own that holds parts of this one's tables and
// nothing else. Once prepare has run in it (macros, the clock) it opens no file
// and changes no setting any more, whatever a query asks for: what it should
// not see is not there. The parts lie in a file of its own beside the spilled
// sorts, in a folder for the owner alone, which Close removes.
func (e *Engine) Sandbox(ctx context.Context, parts []Part, prepare func(*Engine) error) (*Engine, error) {
	err := os.MkdirAll(e.temp, 0o700)
	var dir string
	if err == nil {
		dir, err = os.MkdirTemp(e.temp, "sandbox-")
	}
	if err != nil {
		return nil, fmt.Errorf("make a folder for a sandbox: %w", err)
	}
	file := filepath.Join(dir, "parts")
	if err := e.copyParts(ctx, file, parts); err != nil {
		os.RemoveAll(dir)
		return nil, err
	}
	box, err := Open(ctx, Options{MemoryMB: sandboxMB, TempDir: dir})
	if err != nil {
		os.RemoveAll(dir)
		return nil, err
	}
	box.removes = dir
	views := "ATTACH " + Quote(file) + " AS parts (READ_ONLY);"
	for _, part := range parts {
		views += fmt.Sprintf("\nCREATE VIEW main.%[1]s AS SELECT * FROM parts.%[1]s;", Name(part.Table))
	}
	err = box.Exec(ctx, "sandbox", views)
	if err == nil {
		err = prepare(box)
	}
	if err == nil {
		err = box.Exec(ctx, "sandbox", "SET temp_directory = ''; SET enable_external_access = false; SET lock_configuration = true;")
	}
	if err != nil {
		box.Close()
		return nil, err
	}
	return box, nil
}

// copyParts writes the parts into a database file.
func (e *Engine) copyParts(ctx context.Context, file string, parts []Part) error {
	if err := e.Exec(ctx, "sandbox", "ATTACH "+Quote(file)+" AS parts"); err != nil {
		return err
	}
	var failed error
	for _, part := range parts {
		columns := make([]string, len(part.Columns))
		for i, c := range part.Columns {
			columns[i] = Name(c)
			if value := part.Instead[c]; value != "" {
				columns[i] = value + " AS " + Name(c)
			}
		}
		where := part.Where
		if where == "" {
			where = "true"
		}
		failed = e.Exec(ctx, "sandbox", fmt.Sprintf("CREATE TABLE parts.%[1]s AS SELECT %[2]s FROM main.%[1]s AS held WHERE %[3]s", Name(part.Table), strings.Join(columns, ", "), where))
		if failed != nil {
			break
		}
	}
	if err := e.Exec(context.WithoutCancel(ctx), "sandbox", "DETACH parts"); failed == nil {
		failed = err
	}
	return failed
}

// Unsteady lists the functions whose answer is not by their arguments alone:
// the clock, chance, the session.
func (e *Engine) Unsteady(ctx context.Context) (map[string]bool, error) {
	_, rows, err := e.Rows(ctx, "functions", "SELECT DISTINCT function_name FROM duckdb_functions() WHERE stability <> 'CONSISTENT' AND function_name <> 'error'")
	if err != nil {
		return nil, err
	}
	all := map[string]bool{"current_setting": true, "getvariable": true}
	for _, row := range rows {
		all[row[0].(string)] = true
	}
	for _, word := range valueWords {
		all[word] = true
	}
	return all, nil
}
