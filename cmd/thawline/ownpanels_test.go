package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// readmesPanel is the example of the README's section on panels: its SQL and its YAML.
func readmesPanel(t *testing.T) (sql, yaml string) {
	t.Helper()
	_, section, found := strings.Cut(readFile(t, "../../README.md"), "\n## A panel of your own\n")
	section, _, ended := strings.Cut(section, "\n## ")
	blocks := regexp.MustCompile("(?s)```(sql|yaml)\n(.*?)```").FindAllStringSubmatch(section, -1)
	if !found || !ended || len(blocks) != 2 || blocks[0][1] != "sql" || blocks[1][1] != "yaml" {
		t.Fatalf("README.md has no panel to follow: %d blocks", len(blocks))
	}
	return blocks[0][2], blocks[1][2]
}

// TestPanelOfTheSitesOwn follows the README's section, and then does each thing wrong.
func TestPanelOfTheSitesOwn(t *testing.T) {
	dir := t.TempDir()
	site := filepath.Join(dir, "site.yaml")
	sql, yaml := readmesPanel(t)
	put := func(name, text string) {
		os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o700)
		write(t, filepath.Join(dir, name), text)
	}
	for name, text := range map[string]string{"site.yaml": goodSite, "policy.yaml": "small_count: 1\n", "labs1.csv": goodLabs, "issues1.csv": goodIssues} {
		put(name, text)
	}
	said := func(args ...string) (exitCode, string) {
		var out, errOut bytes.Buffer
		code := run(context.Background(), append(args, "--site", site), &out, &errOut)
		return code, errOut.String()
	}
	ask(t, "ingest", "--site", site)
	ask(t, "mark", "--site", site)
	put("panels/by_weekday.sql", sql)
	if code, text := said("check"); code != exitDone || !strings.Contains(text, "panels has no panels.yaml: its 1 figures are in no pack") {
		t.Errorf("a folder without panels.yaml: exit %d\n%s", code, text)
	}
	put("panels/panels.yaml", yaml)
	if code, text := said("check"); code != exitDone || !strings.Contains(text, "panels of the site's own: 1, no fault") || strings.Contains(text, "note:") {
		t.Errorf("the README's panel: exit %d\n%s", code, text)
	}
	ask(t, "report", "--site", site, "--period", "2025-03", "--today", "2025-04-02")
	page := readFile(t, filepath.Join(dir, "store", "packs", "2025-03", "committee.html"))
	for _, wanted := range []string{"Our own questions", "On which day of the week do episodes begin?", "0 of 1 episodes of Mar 2025 began at a weekend", "Monday to Friday"} {
		if !strings.Contains(page, wanted) {
			t.Errorf("the pack does not say %q", wanted)
		}
	}
	for _, c := range []struct{ what, old, new, says string }{
		{"a word of SQL", "count(*) AS episodes\nFROM", "count(*) AS episodes\nFORM", "panels/by_weekday.sql:12:"},
		{"a column", "episodes.weekday >= 6) AS n", "episodes.weekdai >= 6) AS n", "panels/by_weekday.sql:17:"},
		{"a table that is not named", "reads:     episodes, period", "reads:     episodes", `it reads "period"`},
		{"the name of a column", "count(*) AS episodes", "count(*) AS number", "panels/by_weekday.sql:9: the points give column 2 as number, the header says episodes"},
		{"several rows", "SELECT count(*) FILTER", "SELECT DISTINCT episodes.month AS n, 0 AS of FROM episodes; SELECT count(*) FILTER", "2 statements"},
		{"text in a count", "count(*) AS of", "'many' AS of", "column of of the answer is VARCHAR, which is no count"},
		{"a file", "count(*) AS of", "(SELECT count(*) FROM read_blob('store/key')) AS of", "read_blob"},
		{"a kind", "day: label", "day: lable", "panels/by_weekday.sql:4:"},
		{"a key", "unit: episodes", "unot: episodes", "panels/panels.yaml:10:9: unknown field"},
		{"a figure", "figure: by_weekday", "figure: by_weekend", "there is no figure \"by_weekend\": write"},
		{"a chart's columns", "chart: bars", "chart: control", "panels/panels.yaml:4:"},
	} {
		put("panels/by_weekday.sql", strings.Replace(sql, c.old, c.new, 1))
		put("panels/panels.yaml", strings.Replace(yaml, c.old, c.new, 1))
		for _, verb := range [][]string{{"check"}, {"report", "--period", "2025-03", "--today", "2025-04-02"}} {
			code, text := said(verb...)
			// Over no records a pack cannot know that a column is text.
			if code != exitWrong || verb[0] == "check" && !strings.Contains(text, c.says) || !strings.Contains(text, "Next: mend the panel") {
				t.Errorf("%s wrong, %s: exit %d, want %q\n%s", c.what, verb[0], code, c.says, text)
			}
		}
	}
	put("panels/by_weekday.sql", sql+"GROUP BY episodes.month\n")
	put("panels/panels.yaml", yaml)
	if code, text := said("check"); code != exitWrong || !strings.Contains(text, "panels/by_weekday.sql:17: the answer has 0 rows where there is no record") {
		t.Errorf("an answer by month: exit %d\n%s", code, text)
	}
	put("panels/by_weekday.sql", sql)
	put("panels/by_hour.sql", strings.Replace(sql, "by_weekday", "by_hour", 1))
	put("panels/more.yml", yaml)
	code, text := said("check")
	for _, note := range []string{"panels/by_hour.sql is in no panel of", "panels/more.yml is not read"} {
		if code != exitDone || !strings.Contains(text, note) {
			t.Errorf("what nothing uses: exit %d, want %q\n%s", code, note, text)
		}
	}
}
