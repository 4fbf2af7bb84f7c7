package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thawline/internal/status"
)

func statusOf(t *testing.T, site string) status.Report {
	t.Helper()
	var r status.Report
	if err := json.Unmarshal([]byte(ask(t, "status", "--site", site, "--json")), &r); err != nil {
		t.Fatal(err)
	}
	return r
}

// TestStatusSaysWhatIsBehind follows a store from its first export: what it
// says to run next is what is missing.
func TestStatusSaysWhatIsBehind(t *testing.T) {
	dir := t.TempDir()
	site := filepath.Join(dir, "site.yaml")
	put := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for name, text := range map[string]string{"site.yaml": goodSite, "policy.yaml": "{}\n", "issues1.csv": goodIssues, "labs1.csv": goodLabs} {
		put(name, text)
	}
	ask(t, "ingest", "--site", site)
	if r := statusOf(t, site); r.Behind.Current || !r.Behind.Audit || r.Audit != nil || len(r.Sources) != 2 || len(r.Current) != 2 || r.Sources[0].Read != 1 {
		t.Errorf("after ingest: %+v", r)
	}
	ask(t, "mark", "--site", site)
	// The episode can be explained before there is a pack.
	id := strings.Fields(ask(t, "query", "--site", site, "--format", "csv", "SELECT episode_id FROM episodes"))[1]
	if text := ask(t, "explain", "--site", site, id); !strings.Contains(text, "because") || !strings.Contains(text, "no bleeding is recorded of anybody in any feed; looked for here from 2025-03-09 to 2025-03-10") || !strings.Contains(text, "bleeding_recorded_in = events") {
		t.Errorf("explain says:\n%s", text)
	}
	if r := statusOf(t, site); r.Behind.Current || r.Behind.Audit || r.Audit == nil || r.Audit.Episodes != 1 {
		t.Errorf("after mark: %+v", r)
	}
	put("policy.yaml", "over_bleeding: {value: 1.6, approved: {by: the committee, on: 2025-01-01}}\n")
	if r := statusOf(t, site); r.Behind.Current || !r.Behind.Audit {
		t.Errorf("after a change of the policy: %+v", r.Behind)
	}
	if text := ask(t, "status", "--site", site); !strings.Contains(text, "behind the records or the policy: run thawline mark") || strings.Contains(text, "SECRET") {
		t.Errorf("status says:\n%s", text)
	}
	put("site.yaml", strings.Replace(goodSite, "Europe/Dublin", "Europe/Paris", 1))
	if r := statusOf(t, site); !r.Behind.Current || !r.Behind.Audit {
		t.Errorf("after a change of the zone: %+v", r.Behind)
	}
	if text := ask(t, "status", "--site", site, "--files"); !strings.Contains(text, "current is behind") || !strings.Contains(text, "issues1.csv") {
		t.Errorf("status says:\n%s", text)
	}
}

// TestStatusOfTheDemo: the sums are those of the manifest, and the month that
// the invented hospital's clinical system did not export is named.
func TestStatusOfTheDemo(t *testing.T) {
	r := statusOf(t, demoSite(t))
	if r.Behind.Current || r.Behind.Audit || len(r.Packs) == 0 || len(r.Problems) == 0 {
		t.Errorf("%+v %v %v", r.Behind, r.Packs, r.Problems)
	}
	gap := false
	for _, s := range r.Spans {
		gap = gap || s.Table == "events" && s.Part == "bleeding" && len(s.Gaps) == 1
	}
	if !gap {
		t.Error("the month without bleeding events is not named")
	}
	for _, s := range r.Sources {
		if s.Read != s.Accepted+s.Rejected+s.SetAside {
			t.Errorf("%s: the sums do not add up", s.File)
		}
	}
}
