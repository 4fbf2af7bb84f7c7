package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
)

// TestFeedThatKnowsNobody: events whose numbers have lost their zeros are read
// without a fault; ingest, status and the pack say that they know no patient.
func TestFeedThatKnowsNobody(t *testing.T) {
	d := newDesk(t)
	issues, labs, events := "unit_no,product_code,patient_id,issued_at\n", "Patient,Test,Result,Taken\n", "patient_id,kind,at\n"
	for i := range 6 {
		issues += fmt.Sprintf("U%d,F,000%d,2025-03-1%dT10:00Z\n", i, 17+i, i)
		labs += fmt.Sprintf("000%d,INR,2.1,1%d/03/2025 09:00\n", 17+i, i)
		events += fmt.Sprintf("%d,bleeding,2025-03-1%dT09:00Z\n", 17+i, i)
	}
	d.put("site.yaml", strings.Replace(goodSite, "products:", "  - table: events\n    files: events*.csv\nproducts:", 1))
	d.put("issues1.csv", issues)
	d.put("labs1.csv", labs)
	d.put("events1.csv", events)
	said := d.says(exitDone, "ingest")
	contains(t, said, "WARNING: events: NO PATIENT MATCHES", "any of the 6 patients", "6 of them match without leading zeros: export the numbers as text")
	if strings.Contains(said, "WARNING: labs") {
		t.Errorf("it warns of labs:\n%s", said)
	}
	contains(t, d.says(exitDone, "status"), "labs    6 of 6 appear in it", "events  0 of 6 appear in it", "WARNING: events")
	page := func() string {
		return readFile(t, strings.TrimSpace(ask(t, "audit", "--site", filepath.Join(d.dir, "site.yaml"), "--period", "2025-03", "--today", "2025-04-02")))
	}
	const says = "The feed events has rows, but none of any patient who was issued plasma"
	contains(t, page(), says)
	// One of them is known: to the committee that is a small count, and no nought.
	d.put("events1.csv", strings.Replace(events, "\n17,", "\n00017,", 1))
	if text := page(); strings.Contains(text, "The feed events has rows, but none") {
		t.Error("the pack says that nobody is known")
	}
}

// TestMapsOfSiteAreNotThoseOfTheStore: who has amended a map and not run ingest is
// told by each verb that goes by the store.
func TestMapsOfSiteAreNotThoseOfTheStore(t *testing.T) {
	d := newDesk(t)
	d.says(exitDone, "ingest")
	d.says(exitDone, "mark")
	const says = "site.yaml has another map than that by which 1 file was read: run thawline ingest"
	for _, verb := range []string{"status", "mark"} {
		if text := d.says(exitDone, verb); strings.Contains(text, says) {
			t.Errorf("%s: nothing has changed, but:\n%s", verb, text)
		}
	}
	d.put("site.yaml", strings.Replace(goodSite, "test: {INR: inr}", "test: {INR: inr, Q: pt_s}", 1))
	for _, verb := range []string{"status", "mark"} {
		contains(t, d.says(exitDone, verb), says)
	}
	contains(t, d.says(exitDone, "report", "--period", "2025-03", "--today", "2025-04-02"), says)
	d.says(exitDone, "ingest")
	if text := d.says(exitDone, "status"); strings.Contains(text, says) {
		t.Errorf("ingest has read it anew, but:\n%s", text)
	}
}
