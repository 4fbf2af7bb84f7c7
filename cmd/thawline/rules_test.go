package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestRulesListsWhatRan holds the list against the SQL files and rules_run.
func TestRulesListsWhatRan(t *testing.T) {
	site := demoSite(t)
	var lines []ruleLine
	if err := json.Unmarshal([]byte(ask(t, "rules", "--site", site, "--json")), &lines); err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob("../../queries/rules/*.sql")
	if err != nil || len(files) != len(lines) || len(files) == 0 {
		t.Fatalf("%d rules listed, %d files (%v)", len(lines), len(files), err)
	}
	fired := map[string]int64{}
	for _, row := range table(t, site, "SELECT finding, count(*) AS n FROM findings GROUP BY finding") {
		var n int64
		json.Unmarshal([]byte(row["n"]), &n)
		fired[row["finding"]] = n
	}
	for _, line := range lines {
		if line.Says == "" || line.Source == "" || line.Fires == "" || line.NotKnown == "" || line.Run == nil {
			t.Errorf("%s: the list lacks something: %+v", line.Name, line)
			continue
		}
		if line.Run.Fired != fired[line.Name] {
			t.Errorf("%s: %d fired, %d findings", line.Name, line.Run.Fired, fired[line.Name])
		}
		if !line.Run.Ran && line.Run.WhyNot == "" {
			t.Errorf("%s was not run, and nothing says why", line.Name)
		}
	}
	if text := ask(t, "rules", "--site", filepath.Join(t.TempDir(), "none.yaml")); !strings.Contains(text, "late_finish") {
		t.Errorf("without a site the list is empty:\n%s", text)
	}
}

// TestCheckFindsWhatIsWrong breaks one hand-written file at a time.
func TestCheckFindsWhatIsWrong(t *testing.T) {
	marks := readFile(t, "../../queries/marks.csv")
	lines := strings.Split(strings.TrimSpace(marks), "\n")
	for _, c := range []struct {
		name, table, panels string
		says                []string
	}{
		{"nothing", marks, "", nil},
		{"a combination without a row", strings.Join(lines[:len(lines)-1], "\n") + "\n", "", []string{"marks.csv", "combination"}},
		{"a row never reached", marks + lines[1] + "\n", "", []string{"marks.csv:" + "25", "reached"}},
		{"an unknown word", strings.Replace(marks, "lost,", "lots,", 1), "", []string{"marks.csv:2", "lots"}},
		{"a panel without its figure", marks, "- section: Ours\n  panels:\n    - figure: nowhere\n      asks: What?\n      chart: table\n", []string{"nowhere"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			site := filepath.Join(dir, "site.yaml")
			files := map[string]string{"site.yaml": goodSite, "policy.yaml": "decision_table: marks.csv\n", "marks.csv": c.table}
			if c.panels != "" {
				files["panels/panels.yaml"] = c.panels
			}
			for name, text := range files {
				os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o700)
				if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			var out, errOut bytes.Buffer
			code := run(context.Background(), []string{"check", "--site", site}, &out, &errOut)
			want := exitDone
			if c.says != nil {
				want = exitWrong
			}
			if code != want {
				t.Errorf("exit %d, want %d\n%s", code, want, errOut.String())
			}
			for _, word := range c.says {
				if !strings.Contains(errOut.String(), word) {
					t.Errorf("the error does not say %q:\n%s", word, errOut.String())
				}
			}
			if _, err := os.Stat(filepath.Join(dir, "store")); err == nil {
				t.Error("check made a store")
			}
		})
	}
}
