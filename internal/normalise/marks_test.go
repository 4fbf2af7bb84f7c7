package normalise

import (
	"strings"
	"testing"
)

// What can be read as one and a half and as fifteen hundred is neither, and is
// told, whatever column it stands in; a stated mark decides.
func TestMarksOfNumbers(t *testing.T) {
	const ambiguous, thousands, other = "a comma that may part thousands", "a point or a comma that parts thousands", "no number by decimal: "
	for _, c := range []struct{ decimal, value, want, reason string }{
		{"", "1,900", "", ambiguous}, {"", ">41,500", "", ambiguous}, {"", "1.250,5", "", thousands}, {"", "1,250.5", "", thousands}, {"", "1.250.000", "", thousands},
		{"", "1.900", "1.9", ""}, {"", "1,9", "1.9", ""}, {"", "0,900", "0.9", ""},
		{"", "1 250", "", "a space or an apostrophe"}, {"", "> 1'250,5", "", "a space or an apostrophe"}, {"comma", "+11", "11", ""},
		{"comma", "1,900", "1.9", ""}, {"comma", "< 2,500", "2.5", ""}, {"comma", "11", "11", ""}, {"comma", "1.9", "", other + "comma"}, {"comma", "1,000.5", "", other + "comma"},
		{"point", "1.900", "1.9", ""}, {"point", "1,9", "", other + "point"}, {"point", "11", "11", ""},
	} {
		extra := ""
		if c.decimal != "" {
			extra = "decimal: " + c.decimal
		}
		r := read(t, "labs", extra, "", labHeader, lab("inr", c.value, ""))
		same(t, c.decimal+" "+c.value, r.one(t, "labs-inr"), map[string]string{"value": c.want, "value_raw": c.value, "no_value": ""})
		if c.reason == "" && len(r.problems) == 0 {
			continue
		}
		if len(r.problems) != 1 || c.reason == "" || !strings.HasPrefix(r.problems[0]["reason"], c.reason) || r.problems[0]["severity"] != "dropped" || r.problems[0]["source_row"] != "2" {
			t.Errorf("%s %q: problems %v, want one dropped for %q", c.decimal, c.value, r.problems, c.reason)
		}
	}
	// Grouped thousands, in a unit that has them.
	for value, decimal := range map[string]string{"150.000": "comma", "150,000": "point", "150 000": "comma", "150\u00a0000.0": "point", "150’000,0": "comma"} {
		same(t, value, read(t, "labs", "decimal: "+decimal, "", labHeader, lab("platelets", value, "/uL")).one(t, "labs-platelets"), map[string]string{"value": "150"})
	}
	// A word of the site's own map goes before.
	same(t, "mapped", read(t, "labs", `no_value: {"9,999": pending}`, "", labHeader, lab("inr", "9,999", "")).one(t, "labs-inr"), map[string]string{"no_value": "pending", "value": ""})
}

func TestMarksInOtherTables(t *testing.T) {
	header := "patient_id;kind;value_raw;unit_raw;measured_at"
	r := read(t, "measures", "", "", header, "P;weight;77,300;kg;2025-03-01T08:00Z", "P;weight;heavy;kg;2025-03-01T08:00Z")
	if r.faults() != "value rejected, value rejected" || !strings.HasPrefix(r.problems[0]["reason"], "a comma that may part") || r.problems[1]["reason"] != "no number" {
		t.Errorf("weights: %v", r.problems)
	}
	same(t, "weight", read(t, "measures", "decimal: comma", "", header, "P;weight;77,300;kg;2025-03-01T08:00Z").one(t, "measures"), map[string]string{"value": "77.300"})
	header = "unit_no;product_code;issued_at;volume_ml"
	r = read(t, "issues", "", "", header, "G1;F;2025-03-01T08:00Z;243,125", "G2;F;2025-03-01T08:00Z;some")
	if r.faults() != "volume_ml dropped, volume_ml dropped" || !strings.HasPrefix(r.problems[0]["reason"], "a comma that may part") || r.problems[1]["reason"] != "no number of mL" {
		t.Errorf("volumes: %v", r.problems)
	}
	same(t, "volume", read(t, "issues", "decimal: comma", "", header, "G1;F;2025-03-01T08:00Z;243,125").one(t, "issues"), map[string]string{"volume_ml": "243.125"})
}

// A count is large and whole: 1.214 admissions are 1214 or nothing.
func TestMarksOfCounts(t *testing.T) {
	header := "month;measure;count"
	for _, c := range []struct{ decimal, row, want, reason string }{
		{"", "admissions;1.214", "", "a point that may part thousands or decimals"}, {"", "bed_days;7.802", "", "a point that may part thousands or decimals"}, {"", "admissions;1,214", "", "a comma that may part"},
		{"", "admissions;120.5", "", "a fraction, and admissions are counted whole"}, {"", "operations;1214,5", "", "a fraction, and operations"}, {"", "bed_days;120.5", "120.5", ""}, {"", "admissions;120.0", "120", ""},
		{"comma", "admissions;1.214", "1214", ""}, {"comma", "bed_days;7.802,5", "7802.5", ""}, {"point", "admissions;1,214", "1214", ""}, {"point", "admissions;1.214", "", "a fraction, and"},
		{"", "admissions;many", "", "no number of 0 or more"}, {"comma", "admissions;-4", "", "no number of 0 or more"},
	} {
		extra := ""
		if c.decimal != "" {
			extra = "decimal: " + c.decimal
		}
		r := read(t, "activity", extra, "", header, "2025-03;"+c.row)
		if c.reason == "" {
			same(t, c.row, r.one(t, "activity"), map[string]string{"count": c.want})
		} else if r.faults() != "count rejected" || !strings.HasPrefix(r.problems[0]["reason"], c.reason) {
			t.Errorf("%s %s: %v, want %q", c.decimal, c.row, r.problems, c.reason)
		}
	}
}
