package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestPanelsOfTheReadme: the example of a site's own panel stands in the README as it
// stands in testdata, check finds no fault in it, and a pack shows it.
func TestPanelsOfTheReadme(t *testing.T) {
	d := newDesk(t)
	if err := os.Mkdir(filepath.Join(d.dir, "panels"), 0o750); err != nil {
		t.Fatal(err)
	}
	readme := readFile(t, "../../README.md")
	for _, name := range []string{"panels.yaml", "issued_by_specialty.sql"} {
		text := readFile(t, filepath.Join("../../testdata/localpanels", name))
		if !strings.Contains(readme, text) {
			t.Errorf("README does not hold %s as it is", name)
		}
		d.put(filepath.Join("panels", name), text)
	}
	d.put("issues1.csv", "unit_no,product_code,patient_id,issued_at,specialty\nU1,F,SECRET1,2025-03-10T10:00Z,Surgery\nU2,F,SECRET1,2025-03-10T10:05Z,Surgery\nU3,F,SECRET2,2025-03-10T10:00Z,\n")
	contains(t, d.says(exitDone, "check"), "dashboard and panels: 1 panels of the site's own, no fault")
	page := readFile(t, strings.TrimSpace(ask(t, "audit", "--site", filepath.Join(d.dir, "site.yaml"), "--period", "2025-03", "--today", "2025-04-02")))
	for _, want := range []string{"Our own questions", "2 of 3 plasma bags issued in Mar 2025 went to the specialty that was issued most."} {
		if !strings.Contains(page, want) {
			t.Errorf("the pack does not say %q", want)
		}
	}
	// What stands there and no pack shows is named.
	d.put("panels/more.sql", strings.ReplaceAll(readFile(t, "../../testdata/localpanels/issued_by_specialty.sql"), "issued_by_specialty", "more"))
	d.put("panels/other.yaml", "sections: []\n")
	if err := os.Mkdir(filepath.Join(d.dir, "figures"), 0o750); err != nil {
		t.Fatal(err)
	}
	d.put("figures/lost.sql", "SELECT 1\n")
	contains(t, d.says(exitDone, "check"), "NOT USED: panels/more.sql: panels.yaml names no such figure", "NOT USED: panels/other.yaml", "NOT USED: figures/lost.sql")
	if err := os.Remove(filepath.Join(d.dir, "panels", "panels.yaml")); err != nil {
		t.Fatal(err)
	}
	contains(t, d.says(exitDone, "check"), "NOT USED: panels/issued_by_specialty.sql: there is no panels/panels.yaml")
}

// TestCheckSaysAllFaults: each of the small files is read, whatever is wrong with the
// others.
func TestCheckSaysAllFaults(t *testing.T) {
	d := newDesk(t)
	d.put("policy.yaml", "over_bleedin: 1.8\n")
	d.put("decisions.yaml", "- date: 2025-03-10\n")
	d.put("reviews.csv", "episode;word\n")
	all := []string{"policy.yaml:1", "decisions.yaml:1", "reviews.csv"}
	contains(t, d.says(exitWrong, "check"), all...)
	d.put("site.yaml", strings.Replace(goodSite, "store:", "stores:", 1))
	contains(t, d.says(exitWrong, "check"), append(all, "site.yaml:3")...)
}

// TestDescribePolicy: every value is listed by name.
func TestDescribePolicy(t *testing.T) {
	text := ask(t, "describe", "policy")
	contains(t, text, "bleeding_recorded_in: events\n    wanted: one or more of events, indication", "over_bleeding: ", "weight_for_age: ")
	if !strings.Contains(ask(t, "describe", "policy", "--json"), `"name": "bleeding_recorded_in"`) {
		t.Error("JSON does not list it")
	}
}
