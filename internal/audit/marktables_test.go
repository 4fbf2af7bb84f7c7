package audit

import (
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"golang.org/x/tools/txtar"

	"thawline/internal/engine"
	"thawline/internal/policy"
)

// TestMarkTables runs the SQL of episodes and marks over small current tables.
// A case is a txtar file: one CSV a table, columns not shown null; settings as
// "name value" lines; and the facts wanted, one block an episode, as "name=value"
// lines, of which units names the episode. "finding X=…" tells a rule's result.
func TestMarkTables(t *testing.T) {
	files, err := filepath.Glob("testdata/marks/*.txtar")
	if err != nil || len(files) == 0 {
		t.Fatalf("no cases (%v)", err)
	}
	for _, file := range files {
		archive, err := txtar.ParseFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, part := range archive.Files {
			if setting, found := strings.CutPrefix(part.Name, "want"); found {
				name := strings.TrimSuffix(filepath.Base(file), ".txtar") + setting
				t.Run(name, func(t *testing.T) { markCase(t, archive, strings.TrimSpace(setting), string(part.Data)) })
			}
		}
	}
}

func markCase(t *testing.T, archive *txtar.Archive, setting, want string) {
	ctx := context.Background()
	e := caseEngine(t)
	given := Given{Policy: policy.Default(), Present: map[string]bool{}}
	var settings []string
	if setting != "" {
		settings = append(settings, setting)
	}
	for _, part := range archive.Files {
		if strings.HasPrefix(part.Name, "want") {
			continue
		}
		if part.Name == "settings" {
			settings = append(settings, strings.Split(strings.TrimSpace(string(part.Data)), "\n")...)
			continue
		}
		name := strings.TrimSuffix(part.Name, ".csv")
		given.Present[name] = true
		insert(t, e, name, withDefaults(name, string(part.Data)))
	}
	for _, line := range settings {
		name, value, _ := strings.Cut(line, "=")
		if name == "controlled_storage" {
			given.ControlledStorage = append(given.ControlledStorage, value)
			continue
		}
		if err := given.Policy.Set(name, value); err != nil {
			t.Fatal(err)
		}
	}
	if err := MarkTables(ctx, e, given); err != nil {
		t.Fatal(err)
	}
	names, rows, err := e.Rows(ctx, "case", `
SELECT episodes.*,
    (SELECT string_agg(units.unit_no, ' ' ORDER BY units.unit_no) FROM units WHERE units.episode_id = episodes.episode_id) AS units,
    (SELECT string_agg(evidence.source, ' ' ORDER BY evidence.source) FROM evidence WHERE evidence.episode_id = episodes.episode_id) AS evidence,
    (SELECT string_agg(DISTINCT findings.finding, ' ' ORDER BY findings.finding) FROM findings WHERE findings.episode_id = episodes.episode_id) AS findings
FROM episodes`)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]map[string]string{}
	for _, row := range rows {
		facts := map[string]string{}
		for i, name := range names {
			switch v := row[i].(type) {
			case nil:
				facts[name] = ""
			case time.Time:
				facts[name] = v.UTC().Format(time.RFC3339Nano)
			case float64:
				facts[name] = strconv.FormatFloat(v, 'f', -1, 64)
			default:
				facts[name] = fmt.Sprint(v)
			}
		}
		got[facts["units"]] = facts
	}
	blocks := strings.Split(strings.TrimSpace(want), "\n\n")
	if len(blocks) != len(got) {
		t.Errorf("%d episodes, want %d", len(got), len(blocks))
	}
	for _, block := range blocks {
		facts := map[string]string{}
		for _, line := range strings.Split(block, "\n") {
			if key, value, found := strings.Cut(line, "="); found {
				facts[key] = value
			}
		}
		episode := got[facts["units"]]
		if episode == nil {
			t.Errorf("no episode of units %q", facts["units"])
			continue
		}
		var keys []string
		for key := range facts {
			keys = append(keys, key)
		}
		sort.Strings(keys)
		for _, key := range keys {
			found, known := episode[key]
			if !known {
				t.Errorf("%s: %s is no fact of an episode", facts["units"], key)
			} else if !sameFact(found, facts[key]) {
				t.Errorf("%s: %s is %q, want %q", facts["units"], key, found, facts[key])
			}
		}
	}
}

// sameFact compares numbers to the sixth decimal, the last that a dose keeps.
func sameFact(got, want string) bool {
	g, err1 := strconv.ParseFloat(got, 64)
	w, err2 := strconv.ParseFloat(want, 64)
	if err1 == nil && err2 == nil {
		return math.Abs(g-w) < 1.5e-6
	}
	return got == want
}

// insert fills a table from CSV text; an empty cell is null.
func insert(t *testing.T, e *engine.Engine, table, text string) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		names, cells := make([]string, len(row)), make([]string, len(row))
		for i, cell := range row {
			names[i], cells[i] = engine.Name(rows[0][i]), "NULL"
			if cell != "" {
				cells[i] = engine.Quote(strings.TrimSuffix(cell, "Z"))
			}
		}
		query := fmt.Sprintf("INSERT INTO %s (%s) VALUES (%s)", engine.Name(table), strings.Join(names, ", "), strings.Join(cells, ", "))
		if err := e.Exec(context.Background(), "case table "+table, query); err != nil {
			t.Fatal(err)
		}
	}
}
