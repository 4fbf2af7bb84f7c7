package audit

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"thawline/internal/engine"
	"thawline/internal/policy"
)

// The tests of this file hold marks and rules against published statements.
// Each names its source.

// hospital is a small invented hospital in tables, to which a test adds patients.
type hospital struct {
	tables map[string][]string
}

func newHospital() *hospital {
	h := &hospital{tables: map[string][]string{
		"issues":    {"unit_no,patient_id,issued_at,started_at,ended_at,unit_abo"},
		"labs":      {"patient_id,test,value,collected_at,resulted_at"},
		"measures":  {"patient_id,value"},
		"events":    {"patient_id,kind,detail,at"},
		"medicines": {"patient_id,medicine,given_at"},
		"patients":  {"patient_id,abo"},
	}}
	// Others bleed and are given medicines before and after: the feeds tell.
	for _, day := range []string{"2025-02-10", "2025-03-20", "2025-04-10"} {
		h.add("events", "X,bleeding,,%sT08:00Z", day)
		h.add("medicines", "X,heparin,%sT08:00Z", day)
	}
	return h
}

func (h *hospital) add(table, format string, values ...any) {
	h.tables[table] = append(h.tables[table], fmt.Sprintf(format, values...))
}

// patient adds a patient of 70 kg with an INR an hour before so many units of
// 275 mL, one hour each.
func (h *hospital) patient(id string, inr float64, units int) {
	h.add("patients", "%s,A", id)
	h.add("measures", "%s,70", id)
	h.add("labs", "%s,inr,%g,2025-03-10T09:00Z,2025-03-10T09:30Z", id, inr)
	for i := range units {
		h.add("issues", "%s-%d,%s,2025-03-10T10:00Z,2025-03-10T%02d:10Z,2025-03-10T%02d:00Z,A", id, i+1, id, 10+i, 11+i)
	}
}

// mark judges the hospital and returns the answer of a query by its first column.
func (h *hospital) mark(t *testing.T, query string, settings ...string) map[string][]any {
	t.Helper()
	ctx := context.Background()
	e := caseEngine(t)
	given := Given{Policy: policy.Default(), Present: map[string]bool{}}
	for _, setting := range settings {
		name, value, _ := strings.Cut(setting, "=")
		if err := given.Policy.Set(name, value); err != nil {
			t.Fatal(err)
		}
	}
	for table, lines := range h.tables {
		given.Present[table] = true
		insert(t, e, table, withDefaults(table, strings.Join(lines, "\n")))
	}
	if err := MarkTables(ctx, e, given); err != nil {
		t.Fatal(err)
	}
	if rules, err := Rules(); err != nil {
		t.Fatal(err)
	} else if i := slices.IndexFunc(rules, func(q *Query) bool { return q.Name == "abo_incompatible" }); i >= 0 {
		if err := Run(ctx, e, rules[i:i+1]); err != nil {
			t.Fatal(err)
		}
	}
	return byFirst(t, e, query)
}

func byFirst(t *testing.T, e *engine.Engine, query string) map[string][]any {
	t.Helper()
	_, rows, err := e.Rows(context.Background(), "outside", query)
	if err != nil {
		t.Fatal(err)
	}
	all := map[string][]any{}
	for _, row := range rows {
		all[row[0].(string)] = row[1:]
	}
	return all
}

// NICE guideline NG24 (2015), sections on fresh frozen plasma: consider it for
// patients with clinically significant bleeding but without major haemorrhage
// if they have abnormal coagulation results (for example a PT or APTT ratio
// above 1.5); do not offer it to correct abnormal coagulation in patients who
// are not bleeding (unless they have an invasive procedure with a risk of
// clinically significant bleeding) or who need reversal of a vitamin K
// antagonist.
func TestGuidelineNG24(t *testing.T) {
	h := newHospital()
	for _, id := range []string{"BLEEDS", "BLEEDSNORMAL", "NOTBLEEDING", "RISKYPROCEDURE", "ANTAGONIST"} {
		inr := 2.0
		if id == "BLEEDSNORMAL" {
			inr = 1.2
		}
		h.patient(id, inr, 3) // 825 mL / 70 kg = 11.8 mL/kg.
	}
	h.add("events", "BLEEDS,bleeding,major,2025-03-10T08:00Z")
	h.add("events", "BLEEDSNORMAL,bleeding,major,2025-03-10T08:00Z")
	h.add("events", "RISKYPROCEDURE,procedure,high,2025-03-10T15:00Z")
	h.add("events", "ANTAGONIST,bleeding,major,2025-03-10T08:00Z")
	h.add("medicines", "ANTAGONIST,vitamin_k_antagonist,2025-03-09T18:00Z")
	got := h.mark(t, "SELECT patient_id, mark FROM episodes", "concentrate_stocked=yes")
	for id, want := range map[string]string{
		"BLEEDS": "appropriate", "BLEEDSNORMAL": "unsupported", "NOTBLEEDING": "non-bleeding",
		"RISKYPROCEDURE": "appropriate", "ANTAGONIST": "unsupported",
	} {
		if len(got[id]) == 0 || got[id][0] != want {
			t.Errorf("%s: mark %v, want %s", id, got[id], want)
		}
	}
}

// Holland and Brooks 2006 (Am J Clin Pathol 126:133): the INR falls by
// 0.37 × INR − 0.47 a unit. The table holds the INR after one to four units,
// worked out from that line.
func TestHollandAndBrooksUnitByUnit(t *testing.T) {
	after := map[float64][4]float64{
		1.5: {1.415, 1.3615, 1.3277, 1.3065},
		2.0: {1.730, 1.5599, 1.4527, 1.3852},
		3.0: {2.360, 1.9568, 1.7028, 1.5428},
		5.0: {3.620, 2.7506, 2.2029, 1.8578},
		8.0: {5.510, 3.9413, 2.9530, 2.3304},
	}
	h := newHospital()
	for inr := range after {
		for units := 1; units <= 4; units++ {
			h.patient(fmt.Sprintf("%g/%d", inr, units), inr, units)
		}
	}
	h.patient("1.2/1", 1.2, 1) // Under 0.47/0.37 = 1.27 the line predicts a rise.
	got := h.mark(t, "SELECT patient_id, expected_change_inr FROM episodes")
	for inr, steps := range after {
		for i, want := range steps {
			id := fmt.Sprintf("%g/%d", inr, i+1)
			change, known := got[id][0].(float64)
			if !known || math.Abs(inr+change-want) > 0.00006 {
				t.Errorf("INR %g, %d units: after %.4f, published line gives %.4f", inr, i+1, inr+change, want)
			}
		}
	}
	if got["1.2/1"][0] != nil {
		t.Errorf("INR 1.2: expected change %v, want none", got["1.2/1"][0])
	}
}

// New Zealand Blood Service, clinical data on plasma components: recipients of
// group O may have plasma of any group, A of A and AB, B of B and AB, AB of AB
// alone; the RhD group need not match.
func TestPlasmaGroupTable(t *testing.T) {
	may := map[string]string{"O": "O A B AB", "A": "A AB", "B": "B AB", "AB": "AB"}
	groups := []string{"O", "A", "B", "AB"}
	h := newHospital()
	for _, recipient := range groups {
		for _, unit := range groups {
			id := recipient + "/" + unit
			h.add("patients", "%s,%s", id, recipient)
			h.add("issues", "%s,%s,2025-03-10T10:00Z,2025-03-10T10:10Z,2025-03-10T11:00Z,%s", id, id, unit)
		}
	}
	got := h.mark(t, "SELECT split_part(key, '|', 1), result FROM abo_incompatible")
	for _, recipient := range groups {
		for _, unit := range groups {
			want := "fired"
			if slices.Contains(strings.Fields(may[recipient]), unit) {
				want = "clear"
			}
			if cell := got[recipient+"/"+unit]; len(cell) == 0 || cell[0] != want {
				t.Errorf("recipient %s, plasma %s: %v, want %s", recipient, unit, cell, want)
			}
		}
	}
}
