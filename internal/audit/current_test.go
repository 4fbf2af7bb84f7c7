package audit

import (
	"context"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/store"
)

// monthExport is one invented export of a month, as CSV of the contract's columns.
type monthExport struct{ table, date, text string }

var threeMonths = []monthExport{
	{"aliases", "2025-01-31", "alias,patient_id\nE1,A\n"},
	{"issues", "2025-01-31", "unit_no,patient_id,issued_at,fate\nU1,A,2025-01-10T10:00,presumed\nU2,B,2025-01-11T10:00,presumed\nU3,E1,2025-01-12T10:00,presumed\n"},
	{"issues", "2025-02-28", "unit_no,patient_id,issued_at,fate,status\nU1,A,2025-01-10T10:05,transfused,\nU2,B,2025-01-11T10:00,presumed,cancelled\nU4,C,2025-02-12T10:00,presumed,\n"},
	{"issues", "2025-03-31", "unit_no,patient_id,issued_at,fate\nU2,C,2025-01-11T10:00,returned\nU4,D,2025-02-12T10:00,presumed\nU4,D,2025-03-12T10:00,discarded\n"},
	{"bedside", "2025-02-28", "unit_no,patient_id,started_at,ended_at\nU3,A,2025-01-12T10:20,2025-01-12T11:00\nU9,A,2025-01-12T10:20,\n"},
	{"labs", "2025-01-31", "patient_id,collected_at,resulted_at,value,status\nA,2024-12-31T23:59,,1.1,final\nE1,2025-01-10T09:00,,1.9,preliminary\nB,2025-01-10T09:00,,1.5,final\n"},
	{"labs", "2025-02-28", "patient_id,collected_at,resulted_at,value,status\nA,2025-01-10T09:00,2025-02-01T09:00,2.1,corrected\nB,2025-01-10T09:00,,,cancelled\nZ,2025-02-01T09:00,,1.0,final\n"},
	{"patients", "2025-01-31", "patient_id,sex,abo\nA,F,A\nE1,M,O\n"},
}

// ingestExport commits an export as one reading.
func ingestExport(t *testing.T, st *store.Store, x monthExport) {
	t.Helper()
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	emptySources(t, e)
	rows, err := csv.NewReader(strings.NewReader(x.text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	header, whole := sourceRows(x.table, rows)
	insertRows(t, e, "source_"+x.table, header, whole)
	table, name := contract.Find(x.table), x.table
	if table == contract.Labs {
		name = "labs-inr"
	}
	var names []string
	for _, c := range table.SourceColumns() {
		names = append(names, engine.Name(c.Name))
	}
	id := store.SHA256([]byte(x.table + x.date + x.text))
	err = st.CommitReading(func(dir string) (store.Reading, error) {
		w, err := store.NewWriter(filepath.Join(dir, name+".parquet"), table, table.SourceColumns())
		if err != nil {
			return store.Reading{}, err
		}
		// Of some readings nobody noted the numbers: an older program made them.
		var told *store.Told
		if id[0] != '0' {
			told = &store.Told{}
		}
		for record, err := range e.Records(ctx, "case", "SELECT "+strings.Join(names, ", ")+" FROM source_"+x.table+" ORDER BY source_row") {
			if err != nil {
				return store.Reading{}, err
			}
			if told != nil {
				told.Add(record)
			}
			if err := w.Write(record); err != nil {
				return store.Reading{}, err
			}
		}
		f, err := w.Close()
		f.Name = name
		return store.Reading{ID: id, Contract: contract.Version, Table: x.table, File: x.table + ".csv", Date: x.date, SHA256: id,
			Read: f.Rows, Accepted: f.Rows, Files: []store.File{f}, Told: told}, err
	})
	if err != nil {
		t.Fatal(err)
	}
}

func newStore(t *testing.T) *store.Store {
	t.Helper()
	st, err := store.Open(filepath.Join(t.TempDir(), "store"), true)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	return st
}

func bringUp(t *testing.T, st *store.Store, threads int) CurrentReport {
	t.Helper()
	report, err := tryToBringUp(t, st, threads)
	if err != nil {
		t.Fatal(err)
	}
	return report
}

func tryToBringUp(t *testing.T, st *store.Store, threads int) (CurrentReport, error) {
	t.Helper()
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	return current(context.Background(), st, clock{london, "Europe/London"}, threads)
}

// layerBytes reads every file of the layer current.
func layerBytes(t *testing.T, st *store.Store) map[string]string {
	t.Helper()
	all := map[string]string{}
	for _, f := range st.Layer("current") {
		text, err := os.ReadFile(f.Path)
		if err != nil {
			t.Fatal(err)
		}
		all[f.Name] = string(text)
	}
	return all
}

func TestCurrentIsTheSameHoweverItWasFilled(t *testing.T) {
	atOnce := newStore(t)
	for _, x := range threeMonths {
		ingestExport(t, atOnce, x)
	}
	report := bringUp(t, atOnce, 1)
	want := []CurrentTable{
		{"issues", 9, 5, 2, 2, 0},
		{"bedside", 2, 2, 0, 0, 0},
		{"labs", 6, 3, 1, 2, 0},
		{"patients", 2, 1, 1, 0, 0},
		{"aliases", 1, 1, 0, 0, 0},
	}
	if got := fmt.Sprint(report.Tables); got != fmt.Sprint(want) {
		t.Errorf("tables %s, want %s", got, fmt.Sprint(want))
	}
	if report.BedsideWithoutIssue != 1 || report.PatientChanges != 1 {
		t.Errorf("bedside without issue %d, patient changes %d, want 1 and 1", report.BedsideWithoutIssue, report.PatientChanges)
	}
	again := bringUp(t, atOnce, 1)
	again.UpToDate, again.Written, again.Kept = false, report.Written, report.Kept
	if fmt.Sprint(again) != fmt.Sprint(report) {
		t.Errorf("an up-to-date layer reports %v, want %v", again, report)
	}

	// The other store takes the exports from the last to the first, marks after
	// each, and has more threads.
	byMonth := newStore(t)
	for i := len(threeMonths) - 1; i >= 0; i-- {
		ingestExport(t, byMonth, threeMonths[i])
		bringUp(t, byMonth, 4)
	}
	a, b := layerBytes(t, atOnce), layerBytes(t, byMonth)
	if len(a) != len(b) {
		t.Errorf("%d files at once, %d month by month", len(a), len(b))
	}
	for name, text := range a {
		if b[name] != text {
			t.Errorf("%s differs", name)
		}
	}
}

// acrossYears are exports in which what is true of one year hangs on what
// another year's export tells.
var acrossYears = []monthExport{
	{"issues", "2024-12-31", "unit_no,patient_id,thawed_at,issued_at,discarded_at,fate\n" +
		"R1,A,,2024-12-20T10:00,,presumed\n" + // issued again in 2026: it had come back
		"N1,,2024-12-31T23:00,,,unknown\n" + // issued in 2025: the issue says more
		"N2,,2024-12-31T23:30,,,unknown\n" + // thrown away in 2025, where its thaw is not told
		"L1,A,,2024-12-31T23:30,,presumed\n" + // the ward recorded it in 2025
		"C1,B,,2024-12-15T10:00,,presumed\n" + // cancelled in 2026
		"P1,A,,2024-12-16T10:00,,presumed\n"}, // told of another patient in 2025
	{"issues", "2025-06-30", "unit_no,patient_id,issued_at,discarded_at,fate\nN1,E1,2025-01-01T00:30,,presumed\nN2,,,2025-01-02T10:00,discarded\nP1,B,2024-12-16T10:05,,transfused\nK1,D,2025-03-01T10:00,,presumed\n"},
	{"bedside", "2025-06-30", "unit_no,patient_id,started_at\nL1,A,2025-01-01T00:10\nN1,A,2025-01-01T00:40\nK9,A,2025-02-01T00:40\n"},
	{"aliases", "2025-06-30", "alias,patient_id\nE1,A\n"},
	{"issues", "2026-06-30", "unit_no,patient_id,issued_at,discarded_at,fate,status\nR1,B,2026-01-02T10:00,,transfused,\nC1,B,2024-12-15T10:00,,presumed,cancelled\nK1,,,2025-03-03T10:00,discarded,\n"},
	{"bedside", "2026-06-30", "unit_no,patient_id,started_at,status\nL1,A,2025-01-01T00:10,cancelled\n"},
	{"aliases", "2026-06-30", "alias,patient_id\nB,M\n"},
}

func TestYearsHangOnOneAnother(t *testing.T) {
	byMonth := newStore(t)
	for i, x := range acrossYears {
		ingestExport(t, byMonth, x)
		got := bringUp(t, byMonth, 4)
		atOnce := newStore(t)
		for _, y := range acrossYears[:i+1] {
			ingestExport(t, atOnce, y)
		}
		want := bringUp(t, atOnce, 1)
		if apart := strings.Contains(strings.Join(got.Lines(), "\n"), "note: 1 issues count as presumed"); apart != (i >= 4) {
			t.Errorf("after %s of %s a discard told apart is noted: %t", x.table, x.date, apart)
		}
		got.Written, got.Kept, want.Written, want.Kept = 0, 0, 0, 0
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("after %s of %s: counts %v month by month, %v at once", x.table, x.date, got, want)
		}
		if diff := cmp.Diff(layerBytes(t, atOnce), layerBytes(t, byMonth)); diff != "" {
			t.Errorf("after %s of %s the layer differs (- at once, + month by month)", x.table, x.date)
		}
	}
	e, err := engine.Open(context.Background(), engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	if err := CurrentViews(context.Background(), e, byMonth); err != nil {
		t.Fatal(err)
	}
	_, rows, err := e.Rows(context.Background(), "case", `
SELECT concat_ws(' ', unit_no, patient_id, year(issued_at), fate, CASE WHEN thawed_at IS NOT NULL THEN 'thawed' END, CASE WHEN started_at IS NOT NULL THEN 'started' END)
FROM issues
ORDER BY unit_no, issued_at`)
	if err != nil {
		t.Fatal(err)
	}
	want := "[[K1 D 2025 presumed] [K1 discarded] [L1 A 2024 presumed] [N1 A 2025 transfused started] [N2 discarded thawed] [P1 M 2024 transfused] [R1 A 2024 returned] [R1 M 2026 transfused]]"
	if got := fmt.Sprint(rows); got != want {
		t.Errorf("issues %s\nwant   %s", got, want)
	}
	var names []string
	for _, f := range byMonth.Layer("current") {
		if strings.HasPrefix(f.Name, "issues") || strings.HasPrefix(f.Name, "bedside") {
			names = append(names, fmt.Sprintf("%s %d", f.Name, f.Rows))
		}
	}
	if got := fmt.Sprint(names); got != "[bedside/2025 2 issues/2024 4 issues/2025 3 issues/2026 1]" {
		t.Errorf("files %s", got)
	}
}

func TestCurrentMakesOnlyTouchedYearsAnew(t *testing.T) {
	st := newStore(t)
	for _, x := range threeMonths {
		ingestExport(t, st, x)
	}
	bringUp(t, st, 0)
	if report := bringUp(t, st, 0); !report.UpToDate || report.Written != 0 {
		t.Errorf("nothing came, but %+v", report)
	}
	for _, step := range []struct {
		x     monthExport
		fresh string
	}{
		// Years of labs: 2024 (A) and 2025 (A, B, E1, Z); of issues and bedside: 2025.
		{monthExport{"labs", "2025-03-31", "patient_id,collected_at,value\nZ,2025-03-01T09:00,1.0\n"}, "labs/inr/2025"},
		{monthExport{"labs", "2026-03-31", "patient_id,collected_at,value\nZ,2026-03-01T09:00,1.0\n"}, "labs/inr/2026"},
		{monthExport{"aliases", "2025-03-31", "alias,patient_id\nN,M\n"}, ""},
		{monthExport{"aliases", "2026-03-31", "alias,patient_id\nZ,M\n"}, "labs/inr/2025 labs/inr/2026"},
		{monthExport{"aliases", "2026-04-30", "alias,patient_id\nD,Y\n"}, "bedside/2025 issues/2025"},
		{monthExport{"issues", "2026-04-30", "unit_no,patient_id,issued_at,fate\nU6,Q,2026-04-12T10:00,presumed\n"}, "issues/2026"},
		{monthExport{"bedside", "2026-04-30", "unit_no,patient_id,started_at\nU6,Q,2026-04-12T10:30\n"}, "bedside/2026 issues/2026"},
		// A unit of another year comes again: both years are told anew.
		{monthExport{"issues", "2026-05-31", "unit_no,patient_id,issued_at,fate\nU1,Q,2026-05-12T10:00,presumed\n"}, "bedside/2025 bedside/2026 issues/2025 issues/2026"},
	} {
		ingestExport(t, st, step.x)
		before := yearsWritten(t, st)
		bringUp(t, st, 0)
		var fresh []string
		for name, at := range yearsWritten(t, st) {
			if at != before[name] {
				fresh = append(fresh, name)
			}
		}
		slices.Sort(fresh)
		if got := strings.Join(fresh, " "); got != step.fresh {
			t.Errorf("%s of %s made anew %q, want %q", step.x.table, step.x.date, got, step.fresh)
		}
	}
}

// yearsWritten says when each file of a year was written.
func yearsWritten(t *testing.T, st *store.Store) map[string]time.Time {
	t.Helper()
	written := map[string]time.Time{}
	for _, f := range st.Layer("current") {
		if !strings.Contains(f.Name, "/") {
			continue
		}
		info, err := os.Stat(f.Path)
		if err != nil {
			t.Fatal(err)
		}
		written[f.Name] = info.ModTime()
	}
	return written
}

func TestAliasesInACircleAreToldByTheirPlace(t *testing.T) {
	st := newStore(t)
	ingestExport(t, st, monthExport{"aliases", "2025-01-31", "alias,patient_id\nSECRET1,SECRET2\nSECRET2,SECRET1\n"})
	_, err := current(context.Background(), st, clock{time.UTC, "UTC"}, 0)
	if err == nil || !strings.Contains(err.Error(), "f1.csv:2, f1.csv:3") || strings.Contains(err.Error(), "SECRET") {
		t.Errorf("error %v", err)
	}
	if _, found := st.LayerFacts("current"); found {
		t.Error("a layer was written")
	}
}
