package audit

import (
	"context"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"thawline/internal/policy"
)

// TestGrowthCharts holds the policy's bounds of weight by age against the WHO
// child growth standards of 2006 (to 24 months) and the growth charts of CDC
// 2000: weights at -5, -3, +3 and +5 standard deviations, and at the 3rd, 50th
// and 97th percentile. Those of testdata/outside/growth.csv were worked out from
// the published L, M and S; the percentiles of CDC stand so in its own table.
// None of them may be called impossible, and a decimal point that slipped must
// be.
func TestGrowthCharts(t *testing.T) {
	file, err := os.Open(filepath.Join("testdata", "outside", "growth.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	charts, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	h := newHospital()
	h.tables["measures"] = []string{"patient_id,value,measured_at"}
	h.tables["patients"] = []string{"patient_id,birth_date"}
	type weight struct {
		what string
		may  bool
	}
	weights := map[string]weight{}
	add := func(what string, months, kg float64, may bool) {
		id := fmt.Sprintf("G%d", len(weights))
		weights[id] = weight{fmt.Sprintf("%s: %g kg at %g months", what, kg, months), may}
		at := time.Date(2025, time.March, 9, 8, 0, 0, 0, time.UTC)
		h.add("patients", "%s,%s", id, at.Add(-time.Duration(months*30.4375*24)*time.Hour).Format(time.DateOnly))
		h.add("measures", "%s,%g,%s", id, kg, at.Format("2006-01-02T15:04Z"))
		h.add("issues", "%s,%s,2025-03-10T10:00Z,2025-03-10T10:10Z,2025-03-10T11:00Z,A", id, id)
	}
	for _, row := range charts[1:] {
		months, err := strconv.ParseFloat(strings.TrimSuffix(row[1], " months"), 64)
		if err != nil {
			t.Fatal(err)
		}
		for i, name := range charts[0][3:] {
			kg, err := strconv.ParseFloat(row[3+i], 64)
			if row[3+i] == "" {
				continue // The curve has no such value.
			}
			if err != nil {
				t.Fatal(err)
			}
			add(strings.Join(row[:3], " ")+" "+name, months, kg, true)
			if name == "median" {
				add("ten times the "+name, months, kg*10, false)
				add("grams as kilograms", months, kg*1000, false)
				// A newborn of 335 g is one born far too early.
				if months >= 12 {
					add("a tenth of the "+name, months, kg/10, false)
				}
			}
		}
	}
	// Born too early, from memory.
	for _, kg := range []float64{0.4, 0.9, 1.5, 2.5} {
		add("a preterm newborn", 0.1, kg, true)
	}
	ctx := context.Background()
	e := caseEngine(t)
	given := Given{Policy: policy.Default(), Present: map[string]bool{}}
	for table, lines := range h.tables {
		given.Present[table] = true
		insert(t, e, table, withDefaults(table, strings.Join(lines, "\n")))
	}
	if err := MarkTables(ctx, e, given); err != nil {
		t.Fatal(err)
	}
	got := byFirst(t, e, "SELECT patient_id, weight_kg IS NOT NULL FROM episodes")
	for id, w := range weights {
		if len(got[id]) == 0 || got[id][0] != w.may {
			t.Errorf("%s: taken as possible %v, wanted %v", w.what, got[id], w.may)
		}
	}
}
