package ingest

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/contract"
	"thawline/internal/read"
	"thawline/internal/site"
	"thawline/internal/store"
)

// hospital is a site of our own with one feed of patients, under canonical names.
func hospital(t *testing.T) *site.Site {
	t.Helper()
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "inbox"), 0o750); err != nil {
		t.Fatal(err)
	}
	return &site.Site{Path: "site.yaml", Dir: dir, Zone: time.UTC, ZoneName: "UTC", Store: filepath.Join(dir, "store"),
		Feeds: []site.Feed{{Line: 4, Table: contract.Patients, Files: filepath.Join(dir, "inbox", "patients_*.csv"), FileDate: regexp.MustCompile(`(\d{4}-\d{2}-\d{2})`)}}}
}

func put(t *testing.T, s *site.Site, name, text string) string {
	t.Helper()
	path := filepath.Join(s.Dir, "inbox", name)
	if err := os.WriteFile(path, []byte(text), 0o640); err != nil {
		t.Fatal(err)
	}
	return path
}

// run1 opens the store, runs and closes it, and returns the store's files.
func run1(t *testing.T, s *site.Site) (Report, []store.Reading, map[string]string, error) {
	t.Helper()
	st, err := store.Open(s.Store, true)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	report, runErr := Run(context.Background(), s, st, nil)
	files := map[string]string{}
	for _, r := range st.Readings() {
		for _, f := range r.Files {
			text, err := os.ReadFile(f.Path)
			if err != nil {
				t.Fatal(err)
			}
			files[r.File+" "+f.Name] = store.SHA256(text)
		}
	}
	return report, st.Readings(), files, runErr
}

const header = "patient_id,birth_date,sex\n"

func TestSumsAndSameFileAgain(t *testing.T) {
	s := hospital(t)
	put(t, s, "patients_2026-01-31.csv", header+"P1,1950-01-02,F\n,1950-01-02,F\n\nP3,,\n")
	report, readings, files, err := run1(t, s)
	if err != nil {
		t.Fatal(err)
	}
	if f := report.Files[0]; f.Read != 3 || f.Accepted != 2 || f.Rejected != 1 || f.Unchanged {
		t.Errorf("%+v", f)
	}
	r := readings[0]
	if r.Date != "2026-01-31" || r.Path != "inbox/patients_2026-01-31.csv" || len(r.Files) != 2 || r.Bytes == 0 {
		t.Errorf("%+v", r)
	}
	report, again, filesAgain, err := run1(t, s)
	if err != nil || !report.Files[0].Unchanged {
		t.Errorf("%+v %v", report, err)
	}
	if !cmp.Equal(readings, again) || !cmp.Equal(files, filesAgain) {
		t.Error("the same file again changed the store")
	}
}

func TestOtherMapReadsAnewAndRetires(t *testing.T) {
	s := hospital(t)
	put(t, s, "patients_2026-01-31.csv", header+"P1,1950-01-02,F\n")
	gone := put(t, s, "patients_2026-02-28.csv", header+"P2,1950-01-02,F\n")
	_, before, _, err := run1(t, s)
	if err != nil || len(before) != 2 {
		t.Fatal(len(before), err)
	}
	if err := os.Remove(gone); err != nil {
		t.Fatal(err)
	}
	s.Feeds[0].Columns = map[string]string{"patient_id": "patient_id"}
	report, after, _, err := run1(t, s)
	if err != nil || len(after) != 2 {
		t.Fatal(len(after), err)
	}
	if after[0].ID == before[0].ID || after[1].ID != before[1].ID {
		t.Error("wanted the first reading replaced, and that of the file that is gone kept")
	}
	if len(report.Notes) != 1 || !strings.Contains(report.Notes[0], "patients_2026-02-28.csv") {
		t.Errorf("notes %q, want one that names the file that is gone", report.Notes)
	}
}

// A file that the new map cannot read keeps its old reading, and nothing says
// that the file is gone.
func TestOtherMapThatFailsKeepsTheOldReading(t *testing.T) {
	s := hospital(t)
	put(t, s, "patients_2026-01-31.csv", header+"P1,1950-01-02,F\n")
	_, before, _, err := run1(t, s)
	if err != nil {
		t.Fatal(err)
	}
	s.Feeds[0].Columns = map[string]string{"patient_id": "number"}
	report, after, _, err := run1(t, s)
	if err == nil || !strings.Contains(err.Error(), "patients_2026-01-31.csv") || len(report.Notes) != 0 {
		t.Errorf("error %v, notes %q", err, report.Notes)
	}
	if !cmp.Equal(before, after) {
		t.Error("the old reading did not stay")
	}
}

// A file at fault leaves nothing; the others are taken, and each fault has its place.
func TestBadFilesAreLeftOut(t *testing.T) {
	s := hospital(t)
	put(t, s, "patients_a.csv", "sex\nF\n")
	put(t, s, "patients_b.csv", "PK\x03\x04")
	put(t, s, "patients_c.csv", header+"P1,,F\nP2,,\"F\n")
	put(t, s, "patients_d.csv", header+"P1,,F\n")
	put(t, s, "patients_e.csv", header+"P1,,\xff\n")
	if err := os.Mkdir(filepath.Join(s.Dir, "inbox", "patients_f.csv"), 0o750); err != nil {
		t.Fatal(err)
	}
	report, readings, _, err := run1(t, s)
	if len(readings) != 1 || readings[0].File != "patients_d.csv" || len(report.Files) != 1 {
		t.Errorf("readings %v", readings)
	}
	for _, want := range []string{"patients_a.csv: ", "patient_id", "patients_b.csv: found a spreadsheet (XLSX) that is damaged", "patients_c.csv:3: a quote", "patients_e.csv:2: ", "patients_f.csv: found a folder"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want %q", err, want)
		}
	}
	entries, readErr := os.ReadDir(filepath.Join(s.Store, "sources"))
	if readErr != nil || len(entries) != 1 {
		t.Errorf("%d folders in sources, want 1", len(entries))
	}
}

// A hospital with nothing to export that month is not held up: a blank file and
// one with a header alone are readings of no rows, and it is said.
func TestFilesWithoutRows(t *testing.T) {
	s := hospital(t)
	s.Feeds[0].FileDate = regexp.MustCompile(`(\d{4}-\d{2})`)
	for name, text := range map[string]string{"patients_2026-01.csv": "", "patients_2026-02.csv": "\xef\xbb\xbf\r\n", "patients_2026-03.csv": header} {
		put(t, s, name, text)
	}
	report, readings, _, err := run1(t, s)
	if err != nil || len(readings) != 3 || len(report.Files) != 3 {
		t.Fatalf("%d readings, error %v; want 3", len(readings), err)
	}
	for i, f := range report.Files {
		if f.Read != 0 || !strings.HasPrefix(report.Notes[i], f.File+": NO ROWS") {
			t.Errorf("%+v, note %q", f, report.Notes[i])
		}
	}
	if report, _, _, err := run1(t, s); err != nil || !report.Files[0].Unchanged || len(report.Notes) != 0 {
		t.Errorf("again: %+v %v", report, err)
	}
}

func TestEncodingsOfSitesAreThoseOfFiles(t *testing.T) {
	if diff := cmp.Diff(site.Encodings, read.Encodings); diff != "" {
		t.Error(diff)
	}
}

func TestFeedsThatNameNoFileOrTheSame(t *testing.T) {
	s := hospital(t)
	report, _, _, err := run1(t, s)
	if err != nil || len(report.Notes) != 1 || !strings.Contains(report.Notes[0], "no file matches") {
		t.Errorf("%v %v", report.Notes, err)
	}
	put(t, s, "patients_2026-01-31.csv", header+"P1,,F\n")
	s.Feeds = append(s.Feeds, s.Feeds[0])
	_, readings, _, err := run1(t, s)
	if !IsConfiguration(err) || len(readings) != 1 {
		t.Errorf("%d readings, error %v; want one reading and a fault of site.yaml", len(readings), err)
	}
}

// Several segments, any number of workers: the same bytes, and every row.
func TestWorkersCannotBeSeen(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	var text strings.Builder
	text.WriteString(header)
	const n = 1_300_000 // over 32 MB, three segments
	for i := range n {
		fmt.Fprintf(&text, "P%08d,1950-01-02,\"F\"\n", i)
	}
	var want map[string]string
	for _, workers := range []int{1, 2, 4} {
		runtime.GOMAXPROCS(workers)
		s := hospital(t)
		put(t, s, "patients_2026-01-31.csv", text.String())
		report, _, files, err := run1(t, s)
		if err != nil {
			t.Fatal(err)
		}
		if report.Files[0].Accepted != n {
			t.Errorf("%d rows, want %d", report.Files[0].Accepted, n)
		}
		if want == nil {
			want = files
		} else if diff := cmp.Diff(want, files); diff != "" {
			t.Errorf("%d workers: %s", workers, diff)
		}
	}
}

func TestInterruptionLeavesTheStoreAsItWas(t *testing.T) {
	s := hospital(t)
	put(t, s, "patients_2026-01-31.csv", header+strings.Repeat("P1,1950-01-02,F\n", 3_000_000))
	st, err := store.Open(s.Store, true)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	ctx, stop := context.WithCancel(context.Background())
	_, err = Run(ctx, s, st, func(_ string, done, _ int64) {
		if done > 0 {
			stop()
		}
	})
	if err == nil || len(st.Readings()) != 0 {
		t.Errorf("%d readings, error %v", len(st.Readings()), err)
	}
}

// Two sheets of one workbook may be exports of one table: each has a reading of
// its own, and another map of one leaves that of the other alone.
func TestSheetsOfOneTable(t *testing.T) {
	s := hospital(t)
	text, err := os.ReadFile("../../testdata/workbooks/quarter.xlsx")
	if err != nil {
		t.Fatal(err)
	}
	path := put(t, s, "quarter_2025-10-31.xlsx", string(text))
	codes := map[string]map[string]string{"test": {"inr": "inr", "hb": "hb"}}
	feed := site.Feed{Line: 9, Table: contract.Labs, Files: path, FileDate: regexp.MustCompile(`(\d{4}-\d{2}-\d{2})`), Codes: codes}
	september, october := feed, feed
	september.Sheet, october.Sheet = "September", "October"
	s.Feeds = []site.Feed{september, october}
	_, first, _, err := run1(t, s)
	if err != nil || len(first) != 2 || first[0].Accepted != 40 || first[1].Accepted != 40 {
		t.Fatalf("readings %+v, %v: want 40 rows of each sheet", first, err)
	}
	report, again, _, err := run1(t, s)
	if err != nil || !cmp.Equal(first, again) || !report.Files[0].Unchanged || !report.Files[1].Unchanged {
		t.Errorf("the same workbook again changed the store: %v", err)
	}
	s.Feeds[1].Units = map[string]string{"hb": "g/L"}
	_, after, _, err := run1(t, s)
	kept := 0
	for _, r := range after {
		if r.ID == first[0].ID || r.ID == first[1].ID {
			kept++
		}
	}
	if err != nil || len(after) != 2 || kept != 1 {
		t.Errorf("%d readings, %d of them kept, %v: want the sheet of another map read anew, and the other kept", len(after), kept, err)
	}
	s.Feeds[1].Sheet = "september"
	if _, _, _, err := run1(t, s); err == nil || !strings.Contains(err.Error(), "named by another feed of labs too") {
		t.Errorf("one sheet in two feeds: %v", err)
	}
}

// An export that was archived away is read as it was: its map is no earlier one
// because no file is there to be read by it.
func TestArchivedExportsAreNoOldReadings(t *testing.T) {
	s := hospital(t)
	gone := put(t, s, "patients_2026-01-31.csv", header+"P1,1950-01-02,F\n")
	if _, _, _, err := run1(t, s); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(gone); err != nil {
		t.Fatal(err)
	}
	report, after, _, err := run1(t, s)
	if err != nil || len(after) != 1 {
		t.Fatal(len(after), err)
	}
	if len(report.Notes) != 1 || !strings.Contains(report.Notes[0], "no file matches") {
		t.Errorf("notes %q, want that no file matches alone", report.Notes)
	}
}

// Where the whole of a file shows that commas part the decimals of a column, a
// point that may part thousands is a problem, however early it stands; another
// column of the file, or another file, proves nothing.
func TestPointsBesideCommas(t *testing.T) {
	s := hospital(t)
	s.Feeds = []site.Feed{{Line: 4, Table: contract.Labs, Files: filepath.Join(s.Dir, "inbox", "labs_*.csv")}}
	header := "patient_id;test;value_raw;unit_raw;collected_at\n"
	row := func(value string) string { return "P1;fibrinogen;" + value + ";g/L;2026-01-04T10:00\n" }
	put(t, s, "labs_1.csv", header+row("1.250")+row("2,3")+row("1.2")+row("3"))
	put(t, s, "labs_2.csv", header+row("1.250")+row("2.3"))
	trial, err := Try(context.Background(), s, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(trial.Problems) != 1 || trial.Problems[0].File != "labs_1.csv" || trial.Problems[0].First != 2 || trial.Problems[0].Rows != 1 || !strings.HasPrefix(trial.Problems[0].Reason, "a point that may part thousands, in a column") {
		t.Errorf("problems %+v", trial.Problems)
	}
	report, readings, files, err := run1(t, s)
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range report.Files {
		if f.Read != f.Accepted || f.Accepted != []int64{4, 2}[i] || readings[i].ID != trial.Readings[i].ID {
			t.Errorf("%+v", f)
		}
	}
	if files["labs_1.csv problems"] == "" || files["labs_2.csv problems"] != "" || files["labs_1.csv labs-fibrinogen"] == "" {
		t.Errorf("files %v", files)
	}
	if left, _ := filepath.Glob(filepath.Join(s.Store, "staging", "*")); len(left) > 0 {
		t.Errorf("left over: %v", left)
	}
}

// The row of the header and the mark of decimals come from the feed; what stands
// above the header is noted and counted nowhere, and rows keep their lines. Of a
// file named by a month, times of the day after it are taken and noted.
func TestFormOfAFeed(t *testing.T) {
	s := hospital(t)
	s.Feeds = []site.Feed{{Line: 4, Table: contract.Labs, Files: filepath.Join(s.Dir, "inbox", "labs_*.csv"), HeaderRow: 3, Decimal: "comma", FileDate: regexp.MustCompile(`labs_(\d{4}-\d{2})`)}}
	put(t, s, "labs_2026-01.csv", "Results of January\n\npatient_id;test;value_raw;unit_raw;collected_at\nP1;fibrinogen;1,900;g/L;2026-01-31T23:50\nP1;fibrinogen;1.9;g/L;2026-02-01T00:40\n;fibrinogen;1,9;g/L;2026-02-02T00:40\n")
	trial, err := Try(context.Background(), s, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	var said []string
	for _, p := range trial.Problems {
		said = append(said, fmt.Sprintf("%s %s %d", p.Severity, p.Column, p.First))
	}
	if got := strings.Join(said, ", "); got != "dropped value 5, rejected collected_at 6, rejected patient_id 6" {
		t.Errorf("problems: %s", got)
	}
	if f := trial.Report.Files[0]; f.Read != 3 || f.Accepted != 2 || f.Rejected != 1 {
		t.Errorf("%+v", f)
	}
	notes := strings.Join(trial.Report.Notes, "\n")
	for _, want := range []string{"header_row: the names of the columns are read from row 3", "passed over: 1", "1 times on the day after the month in its name"} {
		if !strings.Contains(notes, want) {
			t.Errorf("no note %q in %s", want, notes)
		}
	}
	if trial.Readings[0].Date != "2026-01-31" {
		t.Errorf("it stands in the order as of %s", trial.Readings[0].Date)
	}
}
