package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/store"
)

// torture is a site with a feed for the files that need a statement of their own.
const torture = `hospital: Nowhere General (invented)
time_zone: Europe/Dublin
store: store
feeds:
  - {table: issues, files: issues.csv}
  - {table: labs, files: plain/*, test: {INR: inr, FIBC: fibrinogen}}
  - {table: labs, files: western/*, test: {INR: inr}, encoding: windows-1252}
  - {table: labs, files: sheet/*, test: {INR: inr, FIBC: fibrinogen}, sheet: Labs}
products:
  F: {component: plasma, product: fresh_frozen, nominal_ml: 275}
`

// tortured says what must come out of each file of testdata/torture: sums, or
// words of the error that the file gives; and words of a note.
var tortured = []struct {
	file                               string
	read, accepted, rejected, setAside int64
	says, note                         string
}{
	// Whole, in every dress.
	{file: "good.csv", read: 4, accepted: 3, setAside: 1},
	{file: "good-crlf.csv", read: 4, accepted: 3, setAside: 1},
	{file: "good-no-last-line-break.csv", read: 4, accepted: 3, setAside: 1},
	{file: "good-bom.csv", read: 4, accepted: 3, setAside: 1},
	{file: "good-utf-16le.csv", read: 4, accepted: 3, setAside: 1},
	{file: "good-utf-16be.csv", read: 4, accepted: 3, setAside: 1},
	{file: "good-tab.csv", read: 4, accepted: 3, setAside: 1},
	{file: "good-pipe.csv", read: 4, accepted: 3, setAside: 1},
	{file: "good.csv.gz", read: 4, accepted: 3, setAside: 1},
	{file: "good-two-members.csv.gz", read: 4, accepted: 3, setAside: 1},
	{file: "good.csv.zst", read: 4, accepted: 3, setAside: 1},
	{file: "good.xlsx", read: 4, accepted: 3, setAside: 1},
	{file: "good-1904.xlsx", read: 4, accepted: 3, setAside: 1},
	// The name says another thing than the content.
	{file: "packed-named-plain.csv", read: 4, accepted: 3, setAside: 1},
	{file: "plain-named-packed.csv.gz", read: 4, accepted: 3, setAside: 1},
	{file: "workbook-named.csv", read: 4, accepted: 3, setAside: 1},
	{file: "page-named-export.csv", says: "found a page of HTML"},
	{file: "pdf-named-export.csv", says: "found a PDF"},
	{file: "old-workbook.csv", says: "found an old Office document"},
	{file: "zipped.csv.zip", says: "found a ZIP archive"},
	{file: "open-document.ods", says: "found an OpenDocument"},
	// Byte order marks, NUL bytes, encodings.
	{file: "bom-twice.csv", read: 4, accepted: 3, setAside: 1},
	{file: "bom-inside.csv", read: 6, accepted: 4, rejected: 1, setAside: 1},
	{file: "nul-byte.csv", says: ":3: found a NUL byte"},
	{file: "nul-padding.csv", says: ":6: found a NUL byte"},
	{file: "utf-16-unmarked.csv", says: "encoding: utf-16"},
	{file: "utf-16-odd.csv", says: ":5: found UTF-16 that ends in the middle"},
	{file: "utf-16-half-pair.csv", says: ":3: found UTF-16 with half a character"},
	{file: "windows-1252.csv", says: ":2: found bytes that are not UTF-8: state the encoding"},
	{file: "mixed-encodings.csv", says: ":3: found bytes that are not UTF-8"},
	{file: "stated-windows-1252.csv", read: 2, accepted: 2},
	{file: "stated-but-utf-8.csv", read: 1, accepted: 1, note: "windows-1252 is stated"},
	{file: "stated-but-marked.csv", read: 1, accepted: 1},
	// Quotes and line breaks.
	{file: "half-a-quote.csv", says: ":3: a quote opens on this line and never closes"},
	{file: "quotes-that-are-none.csv", says: ":2: a quote opens on this line"},
	{file: "quote-alone-in-its-cell.csv", says: ":2: a quote opens on this line"},
	{file: "two-quotes-in-one-line.csv", read: 4, accepted: 2, rejected: 1, setAside: 1},
	{file: "quote-inside.csv", read: 1, accepted: 1},
	{file: "line-break-in-quotes.csv", read: 2, accepted: 1, rejected: 1},
	{file: "whole-lines-quoted.csv", says: "header: no column patient_id"},
	{file: "carriage-returns-alone.csv", says: "found lines that end in a carriage return alone"},
	{file: "line-ends-mixed.csv", read: 4, accepted: 3, setAside: 1},
	{file: "old-end-of-file.csv", read: 4, accepted: 3, setAside: 1},
	{file: "blank-lines-between.csv", read: 4, accepted: 3, setAside: 1},
	// The shape of the table.
	{file: "empty.csv", note: "NO ROWS"},
	{file: "empty-bom.csv", note: "NO ROWS"},
	{file: "empty.csv.gz", note: "NO ROWS"},
	{file: "header-only.csv", note: "NO ROWS"},
	{file: "header-missing.csv", says: "a first line that looks like data"},
	{file: "header-twice.csv", read: 6, accepted: 4, rejected: 1, setAside: 1},
	{file: "header-names-twice.csv", says: `more than one column "value_raw"`},
	{file: "header-in-capitals.csv", read: 4, accepted: 3, setAside: 1},
	{file: "title-above.csv", says: "header: no column patient_id"},
	{file: "total-below.csv", read: 5, accepted: 3, rejected: 1, setAside: 1},
	{file: "ragged.csv", read: 3, accepted: 1, rejected: 2},
	{file: "trailing-delimiters.csv", read: 4, accepted: 3, setAside: 1},
	{file: "trailing-delimiter-everywhere.csv", read: 4, accepted: 3, setAside: 1},
	{file: "columns-swapped.csv", read: 4, setAside: 4},
	{file: "delimiter-in-doubt.csv", says: "found commas and semicolons in the header"},
	{file: "sep-line.csv", read: 4, accepted: 3, setAside: 1},
	{file: "row-again.csv", read: 3, accepted: 3},
	// What is in the cells.
	{file: "decimal-comma.csv", read: 4, accepted: 3, setAside: 1},
	{file: "thousands.csv", read: 2, accepted: 2},
	{file: "thin-spaces.csv", read: 2, accepted: 2},
	{file: "minus-and-signs.csv", read: 4, accepted: 4},
	{file: "sheet-errors.csv", read: 3, accepted: 1, rejected: 2},
	{file: "rounded-numbers.csv", read: 2, accepted: 1, rejected: 1},
	{file: "times-that-are-none.csv", read: 5, accepted: 1, rejected: 4},
	{file: "times-in-basic-forms.csv", read: 4, accepted: 4},
	{file: "ends-of-the-calendar.csv", read: 4, accepted: 1, rejected: 3},
	{file: "beyond-the-analyser.csv", read: 3, accepted: 3},
	{file: "ends-of-segments.hl7", read: 6, accepted: 6},
	{file: "hostile.csv", read: 5, accepted: 5},
	// Archives.
	{file: "truncated.csv.gz", says: "found a gzip archive that breaks off"},
	{file: "truncated-checksum.csv.gz", says: "found a gzip archive that breaks off"},
	{file: "bytes-after-the-end.csv.gz", says: "has other bytes after its end"},
	{file: "wrong-checksum.csv.gz", says: "found a gzip archive that is damaged"},
	{file: "packed-twice.csv.gz", says: "found a gzip archive inside a gzip archive"},
	{file: "truncated.csv.zst", says: "found a zstd archive that breaks off"},
	// Workbooks.
	{file: "blank-rows.xlsx", read: 4, accepted: 3, setAside: 1},
	{file: "no-rows.xlsx", note: "NO ROWS"},
	{file: "blank.xlsx", note: "NO ROWS"},
	{file: "two-sheets.xlsx", says: `the sheets "Labs", "Codes"`},
	{file: "stated-sheet.xlsx", read: 4, accepted: 3, setAside: 1},
	{file: "hidden-sheet.xlsx", read: 4, accepted: 3, setAside: 1},
	{file: "merged.xlsx", read: 2, accepted: 1, rejected: 1, note: "cells merged over several rows: 1;"},
	{file: "formulas-not-calculated.xlsx", read: 2, accepted: 1, rejected: 1},
	{file: "days-that-were-not.xlsx", read: 3, accepted: 1, rejected: 2},
	{file: "truncated.xlsx", says: "found a spreadsheet (XLSX) that is damaged"},
	// Too large for this repository: made by the test.
	{file: "huge-field.csv", says: ":3: found a line of over 64 MB"},
	{file: "trap.csv.gz", says: "trap"},
}

const labsHeader = "patient_id,test,value_raw,unit_raw,collected_at\n"

// large makes the files that are too large for the repository.
func large(t *testing.T, dir string) {
	t.Helper()
	field := labsHeader + "H1,INR,1.4,,2026-10-01T10:15\nH2,INR," + strings.Repeat("9", 70<<20)
	if err := os.WriteFile(filepath.Join(dir, "huge-field.csv"), []byte(field), 0o600); err != nil {
		t.Fatal(err)
	}
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	z.Write([]byte(labsHeader))
	lines := bytes.Repeat([]byte("\n"), 1<<20)
	for range 400 {
		z.Write(lines)
	}
	z.Close()
	if err := os.WriteFile(filepath.Join(dir, "trap.csv.gz"), packed.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

// tortureSite copies the folder of damaged exports into a site.
func tortureSite(t *testing.T) (site string) {
	t.Helper()
	dir := t.TempDir()
	for _, folder := range []string{"plain", "western", "sheet"} {
		if err := os.Mkdir(filepath.Join(dir, folder), 0o750); err != nil {
			t.Fatal(err)
		}
	}
	site = filepath.Join(dir, "site.yaml")
	for name, text := range map[string]string{"site.yaml": torture, "issues.csv": goodIssues} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	entries, err := os.ReadDir("../../testdata/torture")
	if err != nil {
		t.Fatal(err)
	}
	for _, entry := range entries {
		name := entry.Name()
		folder := "plain"
		switch {
		case name == "make.py" || strings.HasPrefix(name, "."):
			continue
		case name == "stated-sheet.xlsx":
			folder = "sheet"
		case strings.HasPrefix(name, "stated-"):
			folder = "western"
		}
		if err := os.WriteFile(filepath.Join(dir, folder, name), []byte(readFile(t, filepath.Join("../../testdata/torture", name))), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	large(t, filepath.Join(dir, "plain"))
	return site
}

// TestTorture reads every damaged export of testdata/torture in one run: each
// is taken to the last row or not at all, says what is wrong with its place,
// and holds up no other. Rows read = accepted + rejected + set aside for each,
// on the screen and in the store.
func TestTorture(t *testing.T) {
	site := tortureSite(t)
	var out, errOut bytes.Buffer
	if code := run(context.Background(), []string{"ingest", "--site", site}, &out, &errOut); code != exitFailed {
		t.Errorf("exit %d, want %d: some files are at fault", code, exitFailed)
	}
	said := errOut.String()
	screen := map[string][4]int64{}
	for _, m := range regexp.MustCompile(`(?m)^(\S+): (\d+) rows read = (\d+) accepted \+ (\d+) rejected \+ (\d+) set aside$`).FindAllStringSubmatch(said, -1) {
		var sums [4]int64
		for i := range sums {
			fmt.Sscan(m[i+2], &sums[i])
		}
		screen[m[1]] = sums
	}
	st, err := store.Open(filepath.Join(filepath.Dir(site), "store"), false)
	if err != nil {
		t.Fatal(err)
	}
	kept := map[string]store.Reading{}
	for _, r := range st.Readings() {
		kept[r.File] = r
	}
	st.Close()
	rejected := map[string]string{}
	for _, row := range table(t, site, `SELECT source_file, count(DISTINCT source_row) AS n FROM problems WHERE severity = 'rejected' GROUP BY ALL`) {
		rejected[row["source_file"]] = row["n"]
	}
	// The same bytes under two names, of which one is misleading, are read once.
	copies := map[string]string{}
	for _, m := range regexp.MustCompile(`(?m)^note: (\S+): the same bytes as (\S+), which is taken`).FindAllStringSubmatch(said, -1) {
		copies[m[1]] = m[2]
	}
	if len(copies) != 3 {
		t.Errorf("%d copies, want 3: %v", len(copies), copies)
	}
	for _, c := range tortured {
		t.Run(c.file, func(t *testing.T) {
			if of, isCopy := copies[c.file]; isCopy {
				if _, found := kept[c.file]; found {
					t.Error("a copy is in the store")
				}
				c.file = of
			}
			r, found := kept[c.file]
			if c.says != "" {
				if !strings.Contains(said, c.file+":") || !regexp.MustCompile(regexp.QuoteMeta(c.file)+`[^\n]*`+regexp.QuoteMeta(c.says)).MatchString(said) {
					t.Errorf("no line says %q", c.says)
				}
				if found {
					t.Error("a file at fault is in the store")
				}
				return
			}
			want := [4]int64{c.read, c.accepted, c.rejected, c.setAside}
			if got := [4]int64{r.Read, r.Accepted, r.Rejected, r.SetAside}; !found || got != want {
				t.Errorf("in the store %v (%v), want %v", got, found, want)
			}
			if screen[c.file] != want {
				t.Errorf("on the screen %v, want %v", screen[c.file], want)
			}
			var rows int64
			for _, f := range r.Files {
				if f.Name != "problems" {
					rows += f.Rows
				}
			}
			if rows != c.accepted || c.read != c.accepted+c.rejected+c.setAside {
				t.Errorf("%d rows stored, want %d; and the sums must add up", rows, c.accepted)
			}
			if got := rejected[c.file]; got != fmt.Sprint(c.rejected) && (got != "" || c.rejected != 0) {
				t.Errorf("problems tell of %s rejected rows, want %d", got, c.rejected)
			}
			if c.note != "" && !regexp.MustCompile(`(?m)^note: `+regexp.QuoteMeta(c.file)+`: .*`+regexp.QuoteMeta(c.note)).MatchString(said) {
				t.Errorf("no note says %q", c.note)
			}
		})
	}
	if len(kept) != len(screen) {
		t.Errorf("%d files in the store, %d on the screen", len(kept), len(screen))
	}
	for _, cell := range []string{"HYPERLINK", "alert(1)", "DROP TABLE", "passwd", "\x1b", "123457"} {
		if strings.Contains(said, cell) {
			t.Errorf("the screen shows a cell: %q", cell)
		}
	}
	before := hashes(t, filepath.Join(filepath.Dir(site), "store"))
	run(context.Background(), []string{"ingest", "--site", site}, &out, &errOut)
	if diff := cmp.Diff(before, hashes(t, filepath.Join(filepath.Dir(site), "store"))); diff != "" {
		t.Errorf("the same files again changed the store:\n%s", diff)
	}
	if t.Failed() {
		t.Log(said)
	}
}

// TestTortureHasARowForEachFile: a damaged export without its line proves nothing.
func TestTortureHasARowForEachFile(t *testing.T) {
	told := map[string]bool{}
	for _, c := range tortured {
		told[c.file] = true
	}
	entries, err := os.ReadDir("../../testdata/torture")
	if err != nil {
		t.Fatal(err)
	}
	for _, entry := range entries {
		if name := entry.Name(); !told[name] && name != "make.py" && name != ".gitattributes" {
			t.Errorf("testdata/torture/%s: no line says what must come out of it", name)
		}
	}
}

// readAlone ingests one file of testdata/torture by itself and answers a query.
func readAlone(t *testing.T, file, sql string) []map[string]string {
	t.Helper()
	dir := t.TempDir()
	site := filepath.Join(dir, "site.yaml")
	if err := os.Mkdir(filepath.Join(dir, "plain"), 0o750); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"site.yaml": torture, "issues.csv": goodIssues, filepath.Join("plain", file): readFile(t, filepath.Join("../../testdata/torture", file))} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	ask(t, "ingest", "--site", site)
	return table(t, site, sql)
}

// TestTorturedValues asks of single files what became of their cells.
func TestTorturedValues(t *testing.T) {
	for file, want := range map[string]string{
		"decimal-comma.csv":        "H1 inr 1.4 10:15|H2 inr 2.1 11:15|H3 fibrinogen 1.9 12:15",
		"thin-spaces.csv":          "H1 inr 1.4 10:15|H2 inr 1.5 10:15",
		"thousands.csv":            "H1 fibrinogen  10:15|H2 fibrinogen 0.0019 10:15",
		"minus-and-signs.csv":      "H1 inr 0.9 10:15|H2 inr 8 10:15|H3 inr  10:15|H4 inr  10:15",
		"quote-inside.csv":         "H1\" inr  10:15",
		"ends-of-segments.hl7":     "H1 inr 1.4 10:15|H1 inr  11:15",
		"times-in-basic-forms.csv": "H1 inr 1.4 10:15|H2 inr 1.4 00:00|H3 inr 1.4 10:00|H4 inr 1.4 00:00",
		"row-again.csv":            "H1 inr 1.4 10:15|H2 inr 2.1 11:15",
	} {
		t.Run(file, func(t *testing.T) {
			t.Parallel()
			var got []string
			for _, row := range readAlone(t, file, `SELECT patient_id, test, value, strftime(collected_at + INTERVAL 1 HOUR, '%H:%M') AS local FROM labs ORDER BY patient_id, collected_at`) {
				got = append(got, fmt.Sprintf("%s %s %s %s", row["patient_id"], row["test"], row["value"], row["local"]))
			}
			if text := strings.Join(got, "|"); text != want {
				t.Errorf("%s, want %s", text, want)
			}
		})
	}
}

// TestEveryDressHoldsTheSame: the same rows, however they are packed, encoded,
// parted or kept in a workbook, are the same records in every column but the
// file's name.
func TestEveryDressHoldsTheSame(t *testing.T) {
	files, err := filepath.Glob("../../testdata/torture/good*")
	if err != nil || len(files) < 13 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	const all = `SELECT * EXCLUDE (source_file) FROM labs ORDER BY source_row`
	want := readAlone(t, "good.csv", all)
	if len(want) != 3 || want[0]["value"] != "1.4" || want[2]["unit_raw"] != "g/L" || want[2]["source_row"] != "4" {
		t.Fatalf("good.csv holds %v", want)
	}
	for _, file := range files {
		name := filepath.Base(file)
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if diff := cmp.Diff(want, readAlone(t, name, all)); diff != "" {
				t.Errorf("(- good.csv, + %s)\n%s", name, diff)
			}
		})
	}
}
