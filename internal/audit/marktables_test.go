package audit

import (
	"context"
	"encoding/csv"
	"fmt"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"golang.org/x/tools/txtar"

	"thawline/internal/engine"
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
	var all []smallHospital
	for _, file := range files {
		archive, err := txtar.ParseFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var settings []string
		tables := map[string]string{}
		for _, part := range archive.Files {
			text := strings.TrimSpace(string(part.Data))
			if part.Name == "settings" {
				settings = strings.Split(text, "\n")
			} else if !strings.HasPrefix(part.Name, "want") {
				tables[strings.TrimSuffix(part.Name, ".csv")] = text
			}
		}
		for _, part := range archive.Files {
			setting, found := strings.CutPrefix(part.Name, "want")
			if !found {
				continue
			}
			h := smallHospital{name: strings.TrimSuffix(filepath.Base(file), ".txtar") + setting, want: string(part.Data), settings: settings, tables: tables}
			if setting = strings.TrimSpace(setting); setting != "" {
				h.settings = append(slices.Clone(settings), setting)
			}
			// Which rules run is part of the answer, and so are the feeds.
			h.feeds = strings.Join(slices.Sorted(maps.Keys(tables)), " ")
			all = append(all, h)
		}
	}
	eachJudged(t, all, MarkTables, func(e *engine.Engine, h smallHospital) {
		t.Run(h.name, func(t *testing.T) { markCase(t, e, h) })
	})
}

func markCase(t *testing.T, e *engine.Engine, h smallHospital) {
	ctx := context.Background()
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
		if !strings.HasPrefix(row[slices.Index(names, "patient_id")].(string), h.prefix) {
			continue
		}
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
				facts[name] = strings.ReplaceAll(fmt.Sprint(v), h.prefix, "")
			}
		}
		got[facts["units"]] = facts
	}
	blocks := strings.Split(strings.TrimSpace(h.want), "\n\n")
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
	insertRows(t, e, table, rows[0], rows[1:])
}
