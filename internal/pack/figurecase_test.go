package pack

import (
	"context"
	"encoding/csv"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/tools/txtar"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/figure"
	"thawline/internal/policy"
	"thawline/queries"
)

// figureCases is where the cases of figures lie: <figure>/*.txtar.
const figureCases = "../../testdata/sql/figures"

// TestFigures runs each figure over small tables, before disclosure. A case is a
// txtar file in the folder of the figure that it is about: a sentence; "period"
// (2026-09, or 2026-07..2026-09); where wanted "policy" (lines "name: value")
// and "storage" (locations of controlled storage); "in/<table>.csv" for tables
// of the layers audit and current; and "points.csv" and "answer.csv", what the
// figure must give, by the columns shown. An empty cell is null. The clock is
// Dublin's; issued_local is made from issued_at.
func TestFigures(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(figureCases, "*", "*.txtar"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no cases (%v)", err)
	}
	defined, err := figure.Load(queries.FS, "figures", "queries/figures")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		name := filepath.Base(filepath.Dir(file))
		t.Run(name+"/"+strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			archive, err := txtar.ParseFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if strings.TrimSpace(string(archive.Comment)) == "" {
				t.Error("the case says nothing: wanted a sentence first")
			}
			if defined[name] == nil {
				t.Fatalf("there is no figure %s", name)
			}
			figureCase(t, defined[name], archive)
		})
	}
}

func figureCase(t *testing.T, d *figure.Definition, archive *txtar.Archive) {
	t.Helper()
	ctx := context.Background()
	zone, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	in := &input{policy: policy.Default(), zone: zone}
	tables := map[string][][]string{}
	var points, answer [][]string
	for _, part := range archive.Files {
		text := strings.TrimSpace(string(part.Data))
		switch part.Name {
		case "period":
			from, to, found := strings.Cut(text, "..")
			if in.from, in.to = from, to; !found {
				in.to = from
			}
			continue
		case "policy":
			for _, line := range strings.Split(text, "\n") {
				value, set, _ := strings.Cut(line, ":")
				if err := in.policy.Set(value, strings.TrimSpace(set)); err != nil {
					t.Fatal(err)
				}
			}
			continue
		case "storage":
			in.controlledStorage = strings.Split(text, "\n")
			continue
		}
		rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		if err != nil {
			t.Fatalf("%s: %v", part.Name, err)
		}
		switch table, found := strings.CutPrefix(strings.TrimSuffix(part.Name, ".csv"), "in/"); {
		case part.Name == "points.csv":
			points = rows
		case part.Name == "answer.csv":
			answer = rows
		case found && contract.Find(table) != nil:
			tables[table] = rows
		default:
			t.Fatalf("%s is no part of a case", part.Name)
		}
	}
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	if err := in.loadTables(ctx, e); err != nil {
		t.Fatal(err)
	}
	for table, rows := range tables {
		for _, row := range rows[1:] {
			var names, cells []string
			for i, cell := range row {
				if cell != "" {
					names, cells = append(names, engine.Name(rows[0][i])), append(cells, engine.Quote(strings.TrimSuffix(cell, "Z")))
				}
			}
			if err := e.Exec(ctx, "case table "+table, fmt.Sprintf("INSERT INTO %s (%s) VALUES (%s)", table, strings.Join(names, ", "), strings.Join(cells, ", "))); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := e.Exec(ctx, "issued_local", "UPDATE issues SET issued_local = local_time(issued_at)"); err != nil {
		t.Fatal(err)
	}
	if err := in.loadPeriod(ctx, e); err != nil {
		t.Fatal(err)
	}
	f, err := d.Run(ctx, e)
	if err != nil {
		t.Fatal(err)
	}
	if points == nil || answer == nil {
		t.Error("the case wants nothing: wanted points.csv and answer.csv")
	}
	if points != nil {
		got := pick(t, d.Points, points[0], f.Rows)
		if want := joined(points[1:]); got != want {
			t.Errorf("points: got\n%s\nwant\n%s", got, want)
		}
	}
	if answer != nil {
		row := make([]figure.Cell, len(d.Answer))
		for i, c := range d.Answer {
			row[i] = f.Values[c.Name]
		}
		got := pick(t, d.Answer, answer[0], [][]figure.Cell{row})
		if want := joined(answer[1:]); got != want {
			t.Errorf("answer: got\n%s\nwant\n%s", got, want)
		}
	}
}

// pick writes the named columns of rows as a case writes them.
func pick(t *testing.T, columns []figure.Column, names []string, rows [][]figure.Cell) string {
	t.Helper()
	var lines [][]string
	for _, row := range rows {
		var cells []string
		for _, name := range names {
			i := slices.IndexFunc(columns, func(c figure.Column) bool { return c.Name == name })
			if i < 0 {
				t.Fatalf("the figure has no column %q", name)
			}
			switch v := row[i].Value.(type) {
			case nil:
				cells = append(cells, "")
			case float64:
				cells = append(cells, strconv.FormatFloat(v, 'f', -1, 64))
			default:
				cells = append(cells, fmt.Sprint(v))
			}
		}
		lines = append(lines, cells)
	}
	return joined(lines)
}

func joined(rows [][]string) string {
	var lines []string
	for _, row := range rows {
		lines = append(lines, strings.Join(row, ","))
	}
	return strings.Join(lines, "\n")
}
