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

// TestRulesOfTheSitesOwn drops the examples beside a site.yaml and looks for
// them wherever a finding shows; then it breaks one.
func TestRulesOfTheSitesOwn(t *testing.T) {
	dir := t.TempDir()
	site := filepath.Join(dir, "site.yaml")
	files := map[string]string{"site.yaml": goodSite, "policy.yaml": "{}\n", "labs1.csv": goodLabs,
		"issues1.csv": "unit_no,product_code,patient_id,issued_at,started_at\n" +
			"U1,F,SECRET1,2025-03-10T22:00Z,2025-03-10T22:30Z\nU2,F,SECRET1,2025-03-10T22:00Z,\nU3,F,SECRET1,2025-03-10T22:00Z,\nU4,F,SECRET1,2025-03-10T22:00Z,\n"}
	for _, name := range []string{"large_order_at_night.sql", "start_without_end.sql"} {
		files["rules/"+name] = readFile(t, "../../testdata/localrules/rules/"+name)
	}
	write := func(name, text string) {
		os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o700)
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for name, text := range files {
		write(name, text)
	}
	var out, errOut bytes.Buffer
	if code := run(context.Background(), []string{"check", "--site", site}, &out, &errOut); code != exitDone || !strings.Contains(errOut.String(), "rules of the site's own: 2") {
		t.Errorf("check: exit %d\n%s", code, errOut.String())
	}
	ask(t, "ingest", "--site", site)
	ask(t, "mark", "--site", site)
	var lines []ruleLine
	if err := json.Unmarshal([]byte(ask(t, "rules", "--site", site, "--json")), &lines); err != nil {
		t.Fatal(err)
	}
	own := map[string]ruleLine{}
	for _, line := range lines {
		if line.Own {
			own[line.Name] = line
		}
	}
	if night := own["large_order_at_night"]; len(own) != 2 || night.Run == nil || night.Run.Fired != 1 || !strings.Contains(night.Source, "section 3") {
		t.Errorf("the list of rules: %+v", own)
	}
	if ends := own["start_without_end"]; ends.Run == nil || ends.Run.Fired != 1 || ends.Run.Judged != 4 || ends.Run.NotKnown != 3 {
		t.Errorf("the list of rules: %+v", ends.Run)
	}
	if text := ask(t, "rules", "--site", site); !strings.Contains(text, "the site's own rule") {
		t.Errorf("the list does not tell the site's own rules apart:\n%s", text)
	}
	ask(t, "report", "--site", site, "--period", "2025-03", "--today", "2025-04-02")
	pack := filepath.Join(dir, "store", "packs", "2025-03")
	for _, place := range []struct{ what, text string }{
		{"findings", ask(t, "query", "--site", site, "SELECT finding, numbers FROM findings")},
		{"explain", ask(t, "explain", "--site", site, table(t, site, "SELECT episode_id FROM episodes")[0]["episode_id"])},
		{"cases.html", strings.ReplaceAll(readFile(t, filepath.Join(pack, "cases.html")), " ", "_")},
		{"committee.html", strings.ReplaceAll(readFile(t, filepath.Join(pack, "committee.html")), " ", "_")},
	} {
		if !strings.Contains(place.text, "large_order_at_night") {
			t.Errorf("%s does not show the finding", place.what)
		}
	}
	// A broken rule: check and mark say where, and the store stays as it was.
	before := hashes(t, filepath.Join(dir, "store"))
	write("rules/start_without_end.sql", strings.Replace(files["rules/start_without_end.sql"], "judged_units.started_at\n", "judged_units.begun_at\n", 1))
	for _, verb := range []string{"check", "mark", "rules"} {
		errOut.Reset()
		if code := run(context.Background(), []string{verb, "--site", site}, &out, &errOut); code != exitWrong {
			t.Errorf("%s: exit %d, want %d", verb, code, exitWrong)
		}
		for _, want := range []string{"rules/start_without_end.sql:17", "begun_at", "Next: mend the rule"} {
			if !strings.Contains(errOut.String(), want) {
				t.Errorf("%s does not say %q:\n%s", verb, want, errOut.String())
			}
		}
	}
	after := hashes(t, filepath.Join(dir, "store"))
	for name, hash := range before {
		if after[name] != hash {
			t.Errorf("%s changed", name)
		}
	}
}
