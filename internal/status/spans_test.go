package status

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/contract"
	"thawline/internal/engine"
)

// Months are the hospital's: in Dublin half an hour before midnight UTC on 30
// June is July already; so the file whose rows all lie there fills July.
func TestSpansOnTheHospitalsClock(t *testing.T) {
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	for _, table := range contract.Feeds() {
		if err := e.Load(ctx, table.Name, table.Columns, nil); err != nil {
			t.Fatal(err)
		}
	}
	for _, insert := range []string{
		"INSERT INTO issues (unit_no, product_code, bag_code, is_batch, bag, component, fate, source_file, source_row, issued_at, discarded_at) VALUES" +
			" ('U', 'F', 'F', false, 'b', 'plasma', 'presumed', 'f', 1, '2025-06-30 22:30:00', NULL)," +
			" ('U', 'F', 'F', false, 'b', 'plasma', 'presumed', 'f', 2, '2025-06-30 23:30:00', NULL)," +
			" ('U', 'F', 'F', false, 'b', 'plasma', 'presumed', 'f', 3, '2026-01-31 23:59:59.999999', NULL)," +
			" ('U', 'F', 'F', false, 'b', 'plasma', 'discarded', 'f', 4, NULL, '2025-08-01 12:00:00')",
		// A hundred INRs in each month but September, of which there are few, and
		// October, of which there is none; then nothing from December on.
		`INSERT INTO labs (patient_id, test, point_of_care, status, source_file, source_row, collected_at)
SELECT 'P', 'inr', false, 'final', 'f', n, TIMESTAMP '2025-06-10 12:00:00' + to_months(CAST(m AS INTEGER)) FROM range(100) AS r(n), range(6) AS s(m)
WHERE m NOT IN (3, 4) OR (m = 3 AND n < 24)`,
		"INSERT INTO labs (patient_id, test, point_of_care, status, source_file, source_row, collected_at) VALUES ('P', 'hct', false, 'final', 'f', 1, '2025-06-10 12:00:00'), ('P', 'hct', false, 'final', 'f', 1, '2025-09-10 12:00:00')",
		"INSERT INTO activity (month, measure, count, source_file, source_row) VALUES ('2025-06', 'admissions', 3, 'f', 1), ('2025-08', 'admissions', 4, 'f', 2)",
		// A weight before all issues is no gap's beginning.
		"INSERT INTO measures (patient_id, kind, measured_at, source_file, source_row) SELECT 'P', 'weight', CASE WHEN n = 0 THEN TIMESTAMP '2025-02-03 10:00:00' ELSE TIMESTAMP '2025-06-03 10:00:00' + to_months(CAST(n % 8 AS INTEGER)) END, 'f', n FROM range(400) AS r(n)",
	} {
		if err := e.Exec(ctx, "rows", insert); err != nil {
			t.Fatal(err)
		}
	}
	dublin, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	spans, err := Spans(ctx, e, dublin)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for _, s := range spans {
		text := s.First + " " + s.Last + " " + strings.Join(s.Faults(), "; ")
		if s.Sparse {
			text += "sparse"
		}
		got[strings.TrimSpace(s.Table+" "+s.Part)] = text
	}
	want := map[string]string{
		"issues":              "2025-06 2026-01 no rows in 2025-09 to 2025-12",
		"labs inr":            "2025-06 2025-11 no rows in 2025-10; few rows in 2025-09; ends 2 months before issues and labs",
		"labs hct":            "2025-06 2025-09 sparse",
		"activity admissions": "2025-06 2025-08 no rows in 2025-07; ends 5 months before issues and labs",
		"measures weight":     "2025-02 2026-01 ",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]MonthRows{{"2025-06", 1}, {"2025-07", 1}, {"2025-08", 1}, {"2026-01", 1}}, spans[0].Months); diff != "" {
		t.Error(diff)
	}
}
