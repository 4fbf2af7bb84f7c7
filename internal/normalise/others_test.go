package normalise

import (
	"fmt"
	"strings"
	"sync"
	"testing"
)

// The pound is 0.45359237 kg and the inch 2.54 cm exactly (international yard
// and pound agreement, 1959); a stone is 14 pounds.
func TestMeasures(t *testing.T) {
	const header = "patient_id;kind;value_raw;unit_raw;measured_at;method"
	for _, c := range []struct{ kind, value, unit, want, fault string }{
		{"weight", "154", "lb", "69.853", ""}, {"weight", "154", "[lb_av]", "69.853", ""}, {"weight", "11", "stone", "69.853", ""}, {"weight", "11", "[stone_av]", "69.853", ""},
		{"weight", "3400", "g", "3.400", ""}, {"weight", "70", "kg", "70.000", ""}, {"height", "66", "in", "167.640", ""}, {"height", "66", "[in_i]", "167.640", ""}, {"height", "1.70", "m", "170.000", ""},
		{"weight", "0.3", "kg", "0.300", ""}, {"weight", "0.29", "kg", "", "value suspect"}, {"weight", "400", "kg", "400.000", ""}, {"weight", "400.1", "kg", "", "value suspect"},
		{"height", "20", "cm", "20.000", ""}, {"height", "19.9", "cm", "", "value suspect"}, {"height", "250", "cm", "250.000", ""}, {"height", "251", "cm", "", "value suspect"},
		{"weight", "70", "", "", "value dropped"}, {"weight", "70", "cm", "", "unit_raw dropped"},
	} {
		r := read(t, "measures", "kind: {WT: weight}", "", header, "P;"+c.kind+";"+c.value+";"+c.unit+";2025-03-01T08:00Z;Measured")
		same(t, c.value+c.unit, r.one(t, "measures"), map[string]string{"value": c.want, "value_raw": c.value, "method": "measured"})
		if r.faults() != c.fault {
			t.Errorf("%s %s: problems %s, want %s", c.value, c.unit, r.faults(), c.fault)
		}
	}
	r := read(t, "measures", "kind: {WT: weight}\nunits: {weight: lb}", "", header, "P;wt;154;;2025-03-01T08:00Z;", "P;wt;heavy;kg;2025-03-01T08:00Z;", "P;wt;;kg;2025-03-01T08:00Z;", "P;pulse;80;/min;2025-03-01T08:00Z;")
	same(t, "stated", r.one(t, "measures"), map[string]string{"value": "69.853"})
	if r.faults() != "value rejected, value rejected" || r.counts.SetAsideCodes["kind=pulse"] != (CodeCount{1, "/min"}) {
		t.Errorf("problems %s, set aside %v", r.faults(), r.counts.SetAsideCodes)
	}
	same(t, "canonical", read(t, "measures", "", "", "patient_id;kind;value;measured_at", "P;weight;70;2025-03-01").one(t, "measures"), map[string]string{"value": "70.000", "date_only": "measured_at"})
}

func TestEvents(t *testing.T) {
	r := read(t, "events", "kind: {OP: procedure}\ndetail: {HR: high, K74: liver_disease}", "2025-03-10", "patient_id;kind;detail;at;until",
		"P;op;hr;2025-03-20T10:00Z;2025-03-20T12:00Z", "P;bleeding;MAJOR;2025-03-10T08:00Z;2025-03-10", "P;bleeding;high;2025-03-10T08:00Z;", "P;diagnosis;K74;2025-03-10;",
		"P;diagnosis;D65;2025-03-10;", "P;bleeding;;2025-03-20T08:00Z;", "P;fall;;2025-03-10;", "P;exchange;red;2025-03-10T08:00Z;2025-03-10T07:55Z", "P;bleeding;;2025-03-10T08:00Z;2025-03-09")
	want := []map[string]string{
		{"kind": "procedure", "detail": "high", "detail_raw": "hr", "at": "2025-03-20T10:00:00"}, {"detail": "major", "until": "2025-03-10T00:00:00", "date_only": "until"},
		{"detail": "", "detail_raw": "high"}, {"detail": "liver_disease", "detail_raw": "K74", "date_only": "at"}, {"detail": "D65", "detail_raw": "D65"},
		{"kind": "exchange", "detail": "", "until": "2025-03-10T08:00:00"}, {"until": ""},
	}
	if len(r.rows["events"]) != len(want) {
		t.Fatalf("%d events, want %d; problems %v", len(r.rows["events"]), len(want), r.problems)
	}
	for i, row := range r.rows["events"] {
		same(t, fmt.Sprint("event ", i), row, want[i])
	}
	if r.faults() != "at rejected, until suspect" || r.counts.Unmapped["detail=high"] != 1 || r.counts.Unmapped["detail=red"] != 1 || r.counts.SetAside != 1 {
		t.Errorf("problems %s, counts %+v", r.faults(), r.counts)
	}
}

func TestPatientsAliasesMedicinesActivity(t *testing.T) {
	r := read(t, "patients", "rhd: {POS: positive}\ntime_format: 02/01/2006", "2025-03-10", "patient_id;birth_date;sex;abo;rhd",
		"P;1970-01-01;f;ab;pos", "P;31/12/1899;M;A;NEG", "P;2025-03-11;;;", "P;2025-03-10;;;", "P;unknown;;;", ";1970-01-01;;;")
	want := []string{"1970-01-01 F AB positive", " M A ", "   ", "2025-03-10   ", "   "}
	for i, row := range r.rows["patients"] {
		if got := strings.Join([]string{row["birth_date"], row["sex"], row["abo"], row["rhd"]}, " "); got != want[i] {
			t.Errorf("patient %d: %q, want %q", i, got, want[i])
		}
	}
	if r.faults() != "birth_date suspect, birth_date suspect, birth_date dropped, patient_id rejected" || r.counts.Unmapped["rhd=NEG"] != 1 {
		t.Errorf("problems %s, unmapped %v", r.faults(), r.counts.Unmapped)
	}
	r = read(t, "aliases", "", "", "alias;patient_id", "E1;P", ";P", "E2;")
	same(t, "alias", r.one(t, "aliases"), map[string]string{"alias": "E1", "patient_id": "P", "source_row": "2"})
	r = read(t, "medicines", "medicine: {Warf: vitamin_k_antagonist}\nignore: [aspirin]", "", "patient_id;medicine;given_at", "P;WARF;2025-03-08T18:00Z", "P;Aspirin;2025-03-08T18:00Z", "P;heparin;")
	same(t, "medicine", r.one(t, "medicines"), map[string]string{"medicine": "vitamin_k_antagonist", "given_at": "2025-03-08T18:00:00"})
	if r.counts.SetAside != 1 || len(r.counts.SetAsideCodes) != 0 || r.faults() != "given_at rejected" {
		t.Errorf("counts %+v, problems %s", r.counts, r.faults())
	}
	r = read(t, "activity", "", "", "month;location;measure;count", "2025-03;;admissions;120", "2025-03-31;ICU;bed_days;55.5", "March;;operations;4", "2025-03;;operations;-4", "2025-13;;operations;4")
	if rows := r.rows["activity"]; len(rows) != 2 || rows[1]["month"] != "2025-03" || rows[1]["count"] != "55.5" || r.faults() != "month rejected, count rejected, month rejected" {
		t.Errorf("activity %v, problems %s", rows, r.faults())
	}
}

func TestHeader(t *testing.T) {
	s, f := load(t, "labs", "columns: {patient_id: HospNo, test: TestCode, value_raw: Result, collected_at: Collected}")
	if _, err := New(s, f, []string{"Result", " COLLECTED ", "hospno", "TestCode", "other", "other"}, FileInfo{}); err != nil {
		t.Errorf("another order and case: %v", err)
	}
	fault := headerError(t, func() error {
		_, err := New(s, f, []string{"HospNo", "Test", "Result", "result"}, FileInfo{Name: "x.csv"})
		return err
	}())
	if text := fault.Error(); len(fault.Missing) != 2 || len(fault.Twice) != 1 || !strings.Contains(text, `"TestCode" (for test)`) || !strings.HasPrefix(text, "x.csv: header:") {
		t.Errorf("error %s", text)
	}
	// A file without a header: its first row must not be shown.
	_, err := New(s, f, []string{"4857773456", "SMITH", "INR"}, FileInfo{Name: "x.csv"})
	if text := headerError(t, err).Error(); strings.Contains(text, "SMITH") {
		t.Errorf("a row is shown: %s", text)
	}
	s, f = load(t, "issues", "")
	_, err = New(s, f, []string{"unit_no", "patient_id"}, FileInfo{})
	if fault := headerError(t, err); strings.Join(fault.Missing, ", ") != "product_code, issued_at or thawed_at or discarded_at" {
		t.Errorf("missing %v", fault.Missing)
	}
}

// TestBatchesAreIndependent runs batches at the same time and merges their sums.
func TestBatchesAreIndependent(t *testing.T) {
	s, f := load(t, "labs", "")
	m, err := New(s, f, strings.Split(labHeader, ";"), FileInfo{Name: "x.csv"})
	if err != nil {
		t.Fatal(err)
	}
	outputs := make([]*Output, 8)
	var wait sync.WaitGroup
	for i := range outputs {
		wait.Go(func() {
			b := m.NewBatch()
			for line := range 2000 {
				row := lab([]string{"inr", "pt_s", "xyz"}[line%3], fmt.Sprint(1+line%5), "")
				if line%7 == 0 {
					row = lab("inr", "", "") + ";extra"
				}
				var cells [][]byte
				for _, c := range strings.Split(row, ";") {
					cells = append(cells, []byte(c))
				}
				b.Add(int64(line), cells)
			}
			outputs[i] = b.Finish()
		})
	}
	wait.Wait()
	var all Counts
	for _, o := range outputs {
		all.Merge(o.Counts)
		for name, record := range o.Records {
			if !recordsEqual(record, outputs[0].Records[name]) {
				t.Errorf("%s differs between batches of the same rows", name)
			}
		}
	}
	if all.Read != 16000 || all.Read != all.Accepted+all.Rejected+all.SetAside || all.SetAsideCodes["test=xyz"].Count != all.SetAside {
		t.Errorf("counts %+v", all)
	}
}
