package normalise

import (
	"strings"
	"testing"
)

// What a spreadsheet leaves in place of a value is no value: ECMA-376 part 1,
// 18.17.3 lists the errors; that identifiers become rounded numbers is common
// practice.
func TestSpoiledCells(t *testing.T) {
	const header = "patient_id;kind;value_raw;unit_raw;measured_at;method"
	for _, c := range []struct {
		row, faults string
		why         *reason
	}{
		{"#N/A;weight;70;kg;2025-03-01T08:00Z;", "patient_id rejected", reasonSheetError},
		{" #REF! ;weight;70;kg;2025-03-01T08:00Z;", "patient_id rejected", reasonSheetError},
		{"1.23457E+11;weight;70;kg;2025-03-01T08:00Z;", "patient_id rejected", reasonShortened},
		{"1,23457e+11;weight;70;kg;2025-03-01T08:00Z;", "patient_id rejected", reasonShortened},
		{"1E+11;weight;70;kg;2025-03-01T08:00Z;", "patient_id rejected", reasonShortened},
		{"H1E+11;weight;70;kg;2025-03-01T08:00Z;", "", nil},
		{"12E+3;weight;70;kg;2025-03-01T08:00Z;", "", nil},
		{"123457000000;weight;7.0E+1;kg;2025-03-01T08:00Z;", "", nil},
		{"#12;weight;70;kg;2025-03-01T08:00Z;", "", nil},
		{"P;weight;#VALUE!;kg;2025-03-01T08:00Z;", "value rejected", reasonSheetError},
		{"P;weight;70;kg;#NAME?;", "measured_at rejected", reasonSheetError},
		{"P;weight;70;kg;2025-03-01T08:00Z;#NULL!", "method dropped", reasonSheetError},
		{"P;weight;70;kg;2025-03-01T08:00Z;;;", "", nil}, // delimiters at the end of a line
		{"P;weight;70;kg;2025-03-01T08:00Z;;x", "source_row rejected", reasonWidth},
		{header, "source_row rejected", reasonHeaderAgain},
	} {
		r := read(t, "measures", "", "", header, c.row)
		if r.faults() != c.faults {
			t.Errorf("%s: problems %q, want %q", c.row, r.faults(), c.faults)
		}
		if c.why != nil && !c.why.form.MatchString(r.problems[0]["reason"]) {
			t.Errorf("%s: %q, want %q", c.row, r.problems[0]["reason"], c.why.says)
		}
		if r.counts.Read != 1 || r.counts.Accepted+r.counts.Rejected != 1 {
			t.Errorf("%s: %+v", c.row, r.counts)
		}
	}
	r := read(t, "patients", "", "", "patient_id;birth_date", "P;1970-01-01", "patient_id;birth_date", "Patient_id;birth_date")
	if r.counts.Rejected != 1 || len(r.rows["patients"]) != 2 {
		t.Errorf("%+v", r.counts)
	}
}

// A spreadsheet's error in issued_at or fate is a written value that was lost:
// the row tells of no bag that was never issued, and of no presumed issue.
func TestSpoiledIssues(t *testing.T) {
	for _, c := range []struct{ cells, fate, faults string }{
		{"issued_at=#N/A thawed_at=2025-03-10T10:00Z", "", "issued_at rejected"},
		{"issued_at=#REF! fate=TX", "", "issued_at rejected"},
		{"issued_at=NULL thawed_at=2025-03-10T10:00Z", "", "issued_at rejected"},
		{"issued_at=2025-03-10T10:00Z fate=#N/A", "unknown", "fate dropped"},
		{"issued_at=2025-03-10T10:00Z started_at=2025-03-10T10:10Z fate=#VALUE!", "unknown", "fate dropped"},
		{"issued_at=2025-03-10T10:00Z fate=NULL", "unknown", ""},
		{"issued_at=2025-03-10T10:00Z fate=", "presumed", ""},
		{"thawed_at=#N/A discarded_at=never", "", "thawed_at rejected, discarded_at rejected"},
		{"location=W issued_at=", "", "issued_at rejected"},
		{"unit_no= issued_at=", "", "unit_no rejected, issued_at rejected"},
		{"unit_no= thawed_at=never", "", "unit_no rejected, thawed_at rejected"},
	} {
		r := issue(t, "", "", strings.Fields(c.cells)...)
		if r.faults() != c.faults {
			t.Errorf("%s: %s, want %s", c.cells, r.faults(), c.faults)
		}
		if c.fate != "" {
			same(t, c.cells, r.one(t, "issues"), map[string]string{"fate": c.fate})
		} else if r.counts.Rejected != 1 {
			t.Errorf("%s: %+v", c.cells, r.counts)
		}
	}
}
