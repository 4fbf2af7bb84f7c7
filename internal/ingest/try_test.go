package ingest

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestTryWritesNothing: a trial tells what a run tells, and leaves no trace.
func TestTryWritesNothing(t *testing.T) {
	s := hospital(t)
	put(t, s, "patients_2026-01-31.csv", header+"P1,1950-01-02,F\n,1950-01-02,F\n\nP3,the year 50,Q\nP4,soon,\n")
	put(t, s, "patients_2026-02-28.csv", header+",,\n")
	put(t, s, "patients_2026-03-31.csv", "patient_id,birth_date,sex\n\"P1,1950\n")
	trial, tryErr := Try(context.Background(), s, nil, nil)
	var left []string
	filepath.WalkDir(s.Dir, func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			left = append(left, filepath.Base(path))
		}
		return nil
	})
	if !slices.Equal(left, []string{"patients_2026-01-31.csv", "patients_2026-02-28.csv", "patients_2026-03-31.csv"}) {
		t.Errorf("files after a trial: %v", left)
	}
	report, readings, _, runErr := run1(t, s)
	if diff := cmp.Diff(report, trial.Report); diff != "" {
		t.Errorf("report of the run and the trial:\n%s", diff)
	}
	if tryErr == nil || runErr == nil || tryErr.Error() != runErr.Error() {
		t.Errorf("errors %v and %v", runErr, tryErr)
	}
	for i := range readings {
		readings[i].Files = nil
	}
	if len(readings) != 2 || readings[0].ID != trial.Readings[0].ID || readings[0].Unmapped["sex=Q"] != trial.Readings[0].Unmapped["sex=Q"] {
		t.Errorf("readings %+v and %+v", readings, trial.Readings)
	}
	type one struct {
		file, severity, column string
		rows, first            int64
	}
	var got []one
	for _, p := range trial.Problems {
		got = append(got, one{p.File, p.Severity, p.Column, p.Rows, p.First})
	}
	want := []one{{"patients_2026-01-31.csv", "dropped", "birth_date", 2, 5}, {"patients_2026-01-31.csv", "rejected", "patient_id", 1, 3}, {"patients_2026-02-28.csv", "rejected", "patient_id", 1, 2}}
	if diff := cmp.Diff(want, got, cmp.AllowUnexported(one{})); diff != "" {
		t.Errorf("problems:\n%s", diff)
	}
}
