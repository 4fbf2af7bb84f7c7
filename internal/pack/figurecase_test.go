package pack

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

	"thawline/internal/audit"
	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/figure"
	"thawline/internal/policy"
	"thawline/internal/site"
	"thawline/queries"
)

// figureCases is where the cases of figures lie: <figure>/*.txtar.
const figureCases = "../../testdata/sql/figures"

// TestFigures runs each figure over small tables, before disclosure. A case is a
// txtar file in the folder of the figure that it is about: a sentence; "period"
// (2026-09, or 2026-07..2026-09); where wanted "policy" (lines "name: value")
// or "policy.yaml", "storage" (locations of controlled storage), "last pack" (one
// line, with in/pack_marks.csv what it said) and "reviews.csv"; "in/<table>.csv" for tables
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

// TestEveryFigureHasACase: a figure that nobody worked out by hand is not known
// to be right.
func TestEveryFigureHasACase(t *testing.T) {
	defined, err := figure.Load(queries.FS, "figures", "queries/figures")
	if err != nil {
		t.Fatal(err)
	}
	for name := range defined {
		if cases, err := filepath.Glob(filepath.Join(figureCases, name, "*.txtar")); err != nil || len(cases) == 0 {
			t.Errorf("queries/figures/%s.sql has no case in testdata/sql/figures/%s (%v)", name, name, err)
		}
	}
}

func figureCase(t *testing.T, d *figure.Definition, archive *txtar.Archive) {
	t.Helper()
	ctx := context.Background()
	zone, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	in := &input{policy: policy.Default(), zone: zone, key: []byte("invented"), today: "2026-10-20", judgedBy: "this program"}
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
		case "policy.yaml":
			file := filepath.Join(t.TempDir(), "policy.yaml")
			if err := os.WriteFile(file, part.Data, 0o600); err != nil {
				t.Fatal(err)
			}
			if in.policy, err = policy.Load(file); err != nil {
				t.Fatal(err)
			}
			continue
		case "last pack":
			var month, first string
			in.last = &lastPack{run: run{JudgedBy: "another program"}}
			word := "another"
			if strings.HasSuffix(text, "by the same program") {
				in.last.run.JudgedBy, word = in.judgedBy, "the same"
			}
			if _, err := fmt.Sscanf(strings.ReplaceAll(text, ",", ""), "%s shown from %s by "+word+" program", &month, &first); err != nil {
				t.Fatalf("the last pack: %v, wanted \"2026-08, shown from 2026-03, by the same program\"", err)
			}
			in.last.Period, in.last.run.From, in.last.run.To, in.last.run.History = month, month, month, first
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
		case part.Name == "reviews.csv":
			for i, row := range rows[1:] {
				date, err := time.Parse(time.DateOnly, row[2])
				if err != nil {
					t.Fatal(err)
				}
				in.reviews = append(in.reviews, site.Review{Line: i + 2, Episode: audit.Pseudonym(in.key, audit.EpisodeKind, row[0]), Word: row[1], Date: date})
			}
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
	if err := loadClock(ctx, e, in.zone); err != nil {
		t.Fatal(err)
	}
	if err := in.loadTables(ctx, e); err != nil {
		t.Fatal(err)
	}
	if said := tables[contract.PackMarks.Name]; said != nil {
		if err := e.View(ctx, contract.PackMarks.Name, contract.PackMarks.Columns, nil, ""); err != nil {
			t.Fatal(err)
		}
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
	if in.last != nil {
		file := filepath.Join(t.TempDir(), marksName)
		if err := e.Exec(ctx, "what the last pack said", fmt.Sprintf("COPY pack_marks TO %s (FORMAT parquet)", engine.Quote(file))); err != nil {
			t.Fatal(err)
		}
		in.last.files = []string{file}
	}
	if err := in.loadPeriod(ctx, e); err != nil {
		t.Fatal(err)
	}
	if err := runShared(ctx, e); err != nil {
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
		cells := slices.Clone(row)
		for i, cell := range cells {
			if strings.Contains(cell, ",") {
				cells[i] = strconv.Quote(cell)
			}
		}
		lines = append(lines, strings.Join(cells, ","))
	}
	return strings.Join(lines, "\n")
}
