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

// TestHalfAPeriodIsSaid: what of a period was not read, or is still to come, stands in
// the pack's first sentence and in the index; and check holds reviews and decisions
// against the store and the day.
func TestHalfAPeriodIsSaid(t *testing.T) {
	dir := t.TempDir()
	site := filepath.Join(dir, "site.yaml")
	put := func(name, text string) { write(t, filepath.Join(dir, name), text) }
	put("site.yaml", goodSite)
	put("policy.yaml", "small_count: 1\n")
	put("issues1.csv", "unit_no,product_code,patient_id,issued_at,fate\nU1,F,SECRET1,2025-03-30T10:00Z,transfused\nU2,F,SECRET1,2025-04-10T10:00Z,transfused\n")
	put("labs1.csv", "Patient,Test,Result,Taken\nSECRET1,INR,2.1,10/04/2025 09:00\n")
	said := func(args ...string) (exitCode, string) {
		var out, errOut bytes.Buffer
		code := run(context.Background(), append(args, "--site", site), &out, &errOut)
		return code, errOut.String()
	}
	ask(t, "ingest", "--site", site)
	ask(t, "mark", "--site", site)
	for _, c := range []struct{ period, today, folder, says string }{
		{"2025-Q2", "2025-05-02", "2025-04..2025-06", "In Apr 2025 to Jun 2025 (no issue of May 2025 to Jun 2025 was read; records reach only to 2025-04-10; the period was not over on the report date, 2025-05-02), 1 episode of plasma began"},
		{"2025-03..2025-04", "2025-05-02", "2025-03..2025-04", "In Mar 2025 to Apr 2025 (records reach only to 2025-04-10), 2 episodes"},
		{"2025-03", "2025-04-02", "2025-03", "In Mar 2025, 1 episode"},
		{"2025-05", "2025-06-02", "2025-05", "No plasma was issued in May 2025 as far as the records tell"},
	} {
		ask(t, "report", "--site", site, "--period", c.period, "--today", c.today)
		page := readFile(t, filepath.Join(dir, "store", "packs", c.folder, "committee.html"))
		if !strings.Contains(page, c.says) {
			t.Errorf("%s: the pack does not say %q but %q", c.period, c.says, regexp.MustCompile(`<p>(In|No) [^<]*`).FindString(page))
		}
	}
	index := readFile(t, filepath.Join(dir, "store", "packs", "index.html"))
	if n := strings.Count(index, "<b>not whole</b>"); n != 2 || !strings.Contains(index, "no issue of May 2025 to Jun 2025 was read") {
		t.Errorf("the index marks %d packs as not whole, want 2", n)
	}
	if code, text := said("report", "--period", "2025-06", "--today", "2025-05-31"); code != exitWrong || !strings.Contains(text, "the period 2025-06 begins after the report date, 2025-05-31") {
		t.Errorf("a period to come: exit %d\n%s", code, text)
	}

	cases := readFile(t, filepath.Join(dir, "store", "packs", "2025-03", "cases.html"))
	known := regexp.MustCompile(`id="e-?([0-9a-f]{10})"`).FindStringSubmatch(cases)
	if known == nil {
		t.Fatal("cases.html names no episode")
	}
	put("reviews.csv", "episode,word,date\n"+known[1]+",wasted,2025-05-01\n0000000000,wasted,2025-05-01\n")
	if code, text := said("check"); code != exitWrong || !strings.Contains(text, "reviews.csv:3:1: episode: no episode of this store") {
		t.Errorf("an episode that nobody knows: exit %d\n%s", code, text)
	}
	put("reviews.csv", "episode,word,date\n"+known[1]+",wasted,2125-05-01\n")
	put("decisions.yaml", "decisions:\n  - {date: 2025-04-01, decision: Weigh, owner: Lead, done: 2125-04-01}\n")
	code, text := said("check")
	for _, note := range []string{"1 of them are dated after today", "decisions.yaml:2: done 2125-04-01 is still to come", "1 period\n"} {
		if code != exitDone || !strings.Contains(text, note) {
			t.Errorf("days to come: exit %d, want %q\n%s", code, note, text)
		}
	}
	ask(t, "report", "--site", site, "--period", "2025-03", "--today", "2025-05-02")
	if page := readFile(t, filepath.Join(dir, "store", "packs", "2025-03", "committee.html")); !strings.Contains(page, "One word of a reviewer is dated after the report date (2025-05-02)") || strings.Contains(page, "No reviewer's word has been read back") {
		t.Error("the pack does not say that a word is of a later day")
	}
	// Before there is a store check reads the rest.
	if err := os.RemoveAll(filepath.Join(dir, "store")); err != nil {
		t.Fatal(err)
	}
	if code, text := said("check"); code != exitDone {
		t.Errorf("without a store: exit %d\n%s", code, text)
	}
}

// TestDrawnAgainIsSaid: a pack that says other marks than the one in whose place it is
// drawn says so, and so does the next; drawn of the same records it comes out the same.
func TestDrawnAgainIsSaid(t *testing.T) {
	dir := t.TempDir()
	site := filepath.Join(dir, "site.yaml")
	put := func(name, text string) { write(t, filepath.Join(dir, name), text) }
	put("site.yaml", goodSite)
	put("policy.yaml", "small_count: 1\n")
	put("issues1.csv", "unit_no,product_code,patient_id,issued_at,fate\nU1,F,SECRET1,2025-03-30T10:00Z,transfused\nU2,F,SECRET1,2025-04-10T10:00Z,transfused\n")
	put("labs1.csv", goodLabs)
	drawn := func(period, today string) string {
		ask(t, "report", "--site", site, "--period", period, "--today", today)
		return readFile(t, filepath.Join(dir, "store", "packs", period, "committee.html"))
	}
	ask(t, "ingest", "--site", site)
	ask(t, "mark", "--site", site)
	first := drawn("2025-03", "2025-04-02")
	if again := drawn("2025-03", "2025-04-02"); again != first || strings.Contains(again, "Drawn again") {
		t.Error("a pack drawn again of the same records does not come out the same")
	}
	if page := drawn("2025-04", "2025-05-02"); strings.Contains(page, "drawn again") {
		t.Error("the next pack speaks of a pack that was not drawn again")
	}
	put("issues2.csv", "unit_no,product_code,patient_id,issued_at,fate\nU1,F,SECRET1,2025-03-30T10:00Z,discarded\n")
	ask(t, "ingest", "--site", site)
	ask(t, "mark", "--site", site)
	for range 2 {
		page := drawn("2025-03", "2025-05-03")
		if n := strings.Count(page, "Drawn again: an earlier pack of this period (report date 2025-04-02) said other marks"); n != 2 {
			t.Errorf("the pack says %d times that it was drawn again, want under its title and in what changed", n)
		}
	}
	if page := drawn("2025-04", "2025-05-03"); !strings.Contains(page, "The pack of Mar 2025 was drawn again after one of report date 2025-04-02") || strings.Contains(page, "Drawn again:") {
		t.Error("the next pack does not say with what it compares")
	}
}
