package normalise

import (
	"slices"
	"strings"
	"testing"

	"thawline/internal/contract"
)

const codedHeader = "patient_id;test;loinc;code_names;value_raw;unit_raw;collected_at"

func coded(test, loinc, names, value, unit string) string {
	return "P1;" + test + ";" + loinc + ";" + names + ";" + value + ";" + unit + ";2025-03-10T09:00Z"
}

// Codes and long names as loinc.org publishes them.
func TestLOINCCodesAreKnown(t *testing.T) {
	for _, c := range []struct{ code, name, unit, want string }{
		{"6301-6", "INR in Platelet poor plasma by Coagulation assay", "{INR}", "inr"}, {"6301-6", "INR in Platelet poor plasma by Coagulation assay", "1", "inr"}, {"34714-6", "INR in Blood by Coagulation assay", "", "inr"},
		{"46418-0", "INR in Capillary blood by Coagulation assay", "", "inr"}, {"38875-1", "INR in Platelet poor plasma or blood by Coagulation assay", "", "inr"},
		{"5902-2", "Prothrombin time (PT)", "s", "pt_s"}, {"5964-2", "Prothrombin time (PT) in Blood by Coagulation assay", "s", "pt_s"},
		{"14979-9", "aPTT in Platelet poor plasma by Coagulation assay", "s", "aptt_s"}, {"3173-2", "aPTT in Blood by Coagulation assay", "s", "aptt_s"}, {"63561-5", "aPTT actual/normal in Platelet poor plasma by Coagulation assay", "", "aptt_ratio"},
		{"3255-7", "Fibrinogen [Mass/volume] in Platelet poor plasma by Coagulation assay", "mg/dL", "fibrinogen"}, {"718-7", "Hemoglobin [Mass/volume] in Blood", "g/dL", "hb"}, {"59260-0", "Hemoglobin [Moles/volume] in Blood", "mmol/L", "hb"},
		{"777-3", "Platelets [#/volume] in Blood by Automated count", "10*3/uL", "platelets"}, {"26515-7", "Platelets [#/volume] in Blood", "10*9/L", "platelets"},
		{"4544-3", "Hematocrit [Volume Fraction] of Blood by Automated count", "%", "hct"}, {"20570-8", "Hematocrit [Volume Fraction] of Blood", "%", "hct"},
	} {
		r := read(t, "labs", "", "", codedHeader, coded("L1", c.code, c.name, "1", c.unit))
		if len(r.rows["labs-"+c.want]) == 0 || r.counts.Accepted != 1 {
			t.Errorf("%s %s is not %s: %v, problems %v", c.code, c.name, c.want, r.rows, r.problems)
		}
		// Alone, in the place of the test, as delimited text may have it.
		r = read(t, "labs", "", "", labHeader, lab(c.code, "1", c.unit))
		if len(r.rows["labs-"+c.want]) == 0 {
			t.Errorf("%s alone is not %s: %v", c.code, c.want, r.problems)
		}
	}
	for code, want := range map[string]string{"29463-7": "weight ", "3141-9": "weight measured", "3142-7": "weight stated", "8302-2": "height ", "3137-7": "height measured", "3138-5": "height stated"} {
		name := map[string]string{"w": "Body weight", "h": "Body height"}[want[:1]]
		row := read(t, "measures", "", "", "patient_id;kind;loinc;code_names;value_raw;unit_raw;measured_at", "P1;X;"+code+";"+name+";70;"+map[string]string{"w": "kg", "h": "in"}[want[:1]]+";2025-03-10").one(t, "measures")
		if got := row["kind"] + " " + row["method"]; got != want {
			t.Errorf("%s: %s, want %s", code, got, want)
		}
	}
	for code, l := range loincs {
		if !slices.Contains(contract.Tests, l.word) && !slices.Contains(contract.Measures.Column("kind").Codes, l.word) {
			t.Errorf("%s is of %s, which is no test or measure", code, l.word)
		}
	}
}

// A code that its name or its unit contradicts is a problem. Public files were
// seen with 14979-9 for carbamazepine, 5894-1 for the INR and 13488-2 for the
// aPTT of the patient (it is that of the control plasma).
func TestLOINCCodesThatContradictThemselves(t *testing.T) {
	for _, c := range []struct{ code, name, unit, says string }{
		{"14979-9", "Carbamazepine", "", "no name beside it is"}, {"5894-1", "INR", "", "that of inr"}, {"6301-6", "Prothrombin time", "", "that of pt_s"}, {"5902-2", "INR in Platelet poor plasma", "", "that of inr"},
		{"5902-2", "Prothrombin time", "%", "its unit that of another test"}, {"6301-6", "INR", "s", "its unit that of another test"}, {"3255-7", "Fibrinogen", "s", "unit"}, {"3255-7", "Fibrinogen antigen", "g/L", "no name"},
		{"3255-7", "Fibrinogen degradation products", "mg/L", "no name"}, {"718-7", "Hemoglobin A1c", "%", "no name"}, {"718-7", "Haematocrit", "", "that of hct"}, {"777-3", "Mean platelet volume", "", "no name"},
		{"777-3", "Factor VIII in Platelet poor plasma", "", "no name"}, {"14979-9", "aPTT in Control Platelet poor plasma", "s", "no name"}, {"14979-9", "aPTT ratio", "", "that of aptt_ratio"}, {"63561-5", "aPTT", "", "that of aptt_s"},
		{"29463-7", "Birth weight", "", "no name"}, {"718-7", "x", "", "no name"},
	} {
		table, header := "labs", codedHeader
		if c.code == "29463-7" {
			table, header = "measures", "patient_id;kind;loinc;code_names;value_raw;unit_raw;measured_at"
		}
		r := read(t, table, "", "", header, coded("L1", c.code, c.name, "1.5", c.unit))
		if r.counts.Rejected != 1 || len(r.problems) != 1 || !strings.Contains(r.problems[0]["reason"], c.says) {
			t.Errorf("%s %q %q: %+v %v, want %q", c.code, c.name, c.unit, r.counts, r.problems, c.says)
		}
	}
	// A code in no list of ours is set aside, as any other.
	for _, code := range []string{"13488-2", "57021-8", "4548-4", "6301-7"} {
		if r := read(t, "labs", "", "", codedHeader, coded(code, code, "aPTT", "30", "s")); r.counts.SetAside != 1 {
			t.Errorf("%s: %+v", code, r.counts)
		}
	}
	// Several names: one that is of the test is enough, unless another is of another.
	for names, want := range map[string]bool{"Gerinnungszeit, INR": true, "PT-INR": true, "INR; 4711": true, "INR; Hb": false} {
		b := batchOf(t)
		if got := b.contradiction("inr", names, "") == ""; got != want {
			t.Errorf("%q: %v", names, got)
		}
	}
}

func batchOf(t *testing.T) *Batch {
	t.Helper()
	s, f := load(t, "labs", "")
	m, err := New(s, f, []string{"patient_id", "test", "collected_at"}, FileInfo{})
	if err != nil {
		t.Fatal(err)
	}
	return m.NewBatch()
}

// The site's own map goes before, by either code, and so does its ignore list;
// a unit in local spelling is asked by its meaning.
func TestTheSiteGoesBeforeLOINC(t *testing.T) {
	r := read(t, "labs", "test: {L1: pt_s}", "", codedHeader, coded("L1", "6301-6", "INR", "14", "s"))
	if len(r.rows["labs-pt_s"]) != 1 {
		t.Errorf("local code: %v %v", r.rows, r.problems)
	}
	r = read(t, "labs", "test: {14979-9: hb}", "", codedHeader, coded("L1", "14979-9", "whatever", "87", "g/L"))
	if len(r.rows["labs-hb"]) != 1 {
		t.Errorf("code of LOINC in the map: %v %v", r.rows, r.problems)
	}
	for _, ignore := range []string{"L1", "6301-6"} {
		if r = read(t, "labs", "ignore: ["+ignore+"]", "", codedHeader, coded("L1", "6301-6", "INR", "2", "")); r.counts.SetAside != 1 || len(r.counts.SetAsideCodes) != 0 {
			t.Errorf("ignoring %s: %+v", ignore, r.counts)
		}
	}
	if r = read(t, "labs", "ignore: rest", "", codedHeader, coded("L1", "6301-6", "INR", "2", "")); r.counts.Accepted != 1 {
		t.Errorf("ignoring the rest: %+v", r.counts)
	}
	if r = read(t, "labs", "unit_raw: {Sek: s}", "", codedHeader, coded("L1", "6301-6", "INR", "2", "Sek")); r.counts.Rejected != 1 {
		t.Errorf("local seconds: %+v", r.counts)
	}
	// A spelling that nobody knows contradicts nothing: the value is dropped.
	if r = read(t, "labs", "", "", codedHeader, coded("L1", "6301-6", "INR", "2", "Sek")); r.counts.Accepted != 1 || r.faults() != "unit_raw dropped" {
		t.Errorf("unknown spelling: %+v %s", r.counts, r.faults())
	}
}

// What a format says of a code in no map holds only there.
func TestKindsOfCodesInNoMap(t *testing.T) {
	const header = "patient_id;kind;kind_else;detail_raw;at"
	r := read(t, "events", "kind: {K92.2: bleeding}\ndetail: {K74.6: liver_disease}", "", header,
		"P1;K92.2;diagnosis;K92.2;2025-03-10", "P1;K74.6;diagnosis;K74.6;2025-03-10", "P1;I10;diagnosis;I10;2025-03-10", "P1;XX;;XX;2025-03-10", "P1;;diagnosis;;2025-03-10")
	got := ""
	for _, row := range r.rows["events"] {
		got += row["kind"] + " " + row["detail"] + ", "
	}
	if got != "bleeding , diagnosis liver_disease, diagnosis I10, " || r.counts.SetAsideCodes["kind=XX"].Count != 1 || r.counts.Rejected != 1 {
		t.Errorf("%s %+v", got, r.counts)
	}
}
