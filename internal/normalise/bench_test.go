package normalise

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"
)

// BenchmarkLabs reads a laboratory export of nine tests, a fifth of its rows of
// tests that no map knows. Rows are invented.
func BenchmarkLabs(b *testing.B) {
	s, f := load(b, "labs", "units: {pt_s: s}\nignore: rest")
	m, err := New(s, f, strings.Split("result_id;patient_id;test;value_raw;unit_raw;collected_at;resulted_at;status", ";"), FileInfo{Name: "coag_2025-12-31.csv", Date: time.Date(2026, 1, 1, 0, 0, 0, -1000, time.UTC)})
	if err != nil {
		b.Fatal(err)
	}
	tests := []string{"inr;1.4;", "pt_s;14.2;s", "aptt_s;31.0;s", "fibrinogen;245;mg/dL", "hb;112;g/L", "platelets;210;10*9/L", "hct;36;%", "inr;>9.0;", "urea;5.1;mmol/L", "na;140;mmol/L"}
	const rows = 100_000
	lines := make([][][]byte, rows)
	size := 0
	for i := range lines {
		at := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(i) * 5 * time.Minute)
		row := fmt.Sprintf("L%09d;P%07d;%s;%s;%s;final", i, i*7919%100000, tests[i%len(tests)], at.Format("2006-01-02 15:04"), at.Add(40*time.Minute).Format("2006-01-02 15:04"))
		lines[i] = bytes.Split([]byte(row), []byte(";"))
		size += len(row) + 1
	}
	b.SetBytes(int64(size))
	b.ReportAllocs()
	for b.Loop() {
		batch := m.NewBatch()
		for i, cells := range lines {
			batch.Add(int64(i+2), cells)
		}
		batch.Finish().Release()
	}
	b.ReportMetric(float64(rows)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
