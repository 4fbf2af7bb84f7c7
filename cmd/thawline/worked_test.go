package main

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/tools/txtar"

	"thawline/internal/audit"
)

// TestWorkedEpisodes runs the worked episodes the whole way, from export files
// to marks, as a quality officer would: every fact that a case names must come
// out as written. The cases were worked by hand before the program was written.
func TestWorkedEpisodes(t *testing.T) {
	files, err := filepath.Glob("../../testdata/worked/*.txtar")
	if err != nil || len(files) < 14 {
		t.Fatalf("%d worked episodes found, wanted 14 (%v)", len(files), err)
	}
	for _, file := range files {
		archive, err := txtar.ParseFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, part := range archive.Files {
			if !strings.HasPrefix(part.Name, "want") {
				continue
			}
			name := strings.TrimSuffix(filepath.Base(file), ".txtar")
			setting := strings.TrimSuffix(strings.TrimSpace(strings.TrimPrefix(part.Name, "want")), ".txt")
			if setting != "" && setting != ".txt" {
				name += "/" + setting
			}
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				runWorked(t, archive, setting, string(part.Data))
			})
		}
	}
}

func runWorked(t *testing.T, archive *txtar.Archive, setting, want string) {
	dir := t.TempDir()
	for _, f := range archive.Files {
		if strings.HasPrefix(f.Name, "want") {
			continue
		}
		if err := os.WriteFile(filepath.Join(dir, f.Name), f.Data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if name, value, found := strings.Cut(setting, "="); found {
		text := fmt.Sprintf("%s: {value: %q}\n", name, value)
		if err := os.WriteFile(filepath.Join(dir, "policy.yaml"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	siteFile := filepath.Join(dir, "site.yaml")
	for _, verb := range []string{"ingest", "mark"} {
		var out, errOut bytes.Buffer
		if code := run(context.Background(), []string{verb, "--site", siteFile}, &out, &errOut); code != exitDone {
			t.Fatalf("%s: exit %d\n%s%s", verb, code, out.String(), errOut.String())
		}
	}
	episodes := readEpisodes(t, siteFile)
	blocks := strings.Split(strings.TrimSpace(want), "\n\n")
	if len(blocks) != len(episodes) {
		t.Errorf("%d episodes, want %d", len(episodes), len(blocks))
	}
	for _, block := range blocks {
		wanted := map[string]string{}
		for _, line := range strings.Split(block, "\n") {
			if key, value, found := strings.Cut(strings.TrimSpace(line), "="); found {
				wanted[key] = value
			}
		}
		got := episodes[wanted["units"]]
		if got == nil {
			t.Errorf("no episode of units %q; there are %v", wanted["units"], keys(episodes))
			continue
		}
		for _, key := range keys(wanted) {
			if !same(got[key], wanted[key]) {
				t.Errorf("%s: %s is %q, want %q", wanted["units"], key, got[key], wanted[key])
			}
		}
	}
}

// readEpisodes returns the facts of every episode as text, by its units.
func readEpisodes(t *testing.T, siteFile string) map[string]map[string]string {
	t.Helper()
	ctx := context.Background()
	s, st := openSite(t, siteFile, false)
	defer st.Close()
	e, err := audit.OpenReader(ctx, st, s)
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	names, rows, err := e.Rows(ctx, "worked", `
SELECT episodes.*,
    (SELECT string_agg(units.unit_no, ' ' ORDER BY units.unit_no) FROM units WHERE units.episode_id = episodes.episode_id) AS units,
    (SELECT string_agg(evidence.source, ' ' ORDER BY evidence.source) FROM evidence WHERE evidence.episode_id = episodes.episode_id) AS evidence,
    (SELECT string_agg(DISTINCT findings.finding, ' ' ORDER BY findings.finding) FROM findings WHERE findings.episode_id = episodes.episode_id) AS findings
FROM episodes`)
	if err != nil {
		t.Fatal(err)
	}
	episodes := map[string]map[string]string{}
	for _, row := range rows {
		facts := map[string]string{}
		for i, name := range names {
			facts[name] = cellText(row[i])
			if at, ok := row[i].(time.Time); ok {
				facts[name] = at.UTC().Format("2006-01-02T15:04:05Z")
			}
		}
		episodes[facts["units"]] = facts
	}
	return episodes
}

// same compares numbers to the sixth decimal, the last that a dose keeps, and
// anything else to the letter.
func same(got, want string) bool {
	if got == want {
		return true
	}
	g, err1 := strconv.ParseFloat(got, 64)
	w, err2 := strconv.ParseFloat(want, 64)
	return err1 == nil && err2 == nil && math.Abs(g-w) < 1.5e-6
}

func keys[V any](m map[string]V) []string {
	var all []string
	for k := range m {
		all = append(all, k)
	}
	sort.Strings(all)
	return all
}
