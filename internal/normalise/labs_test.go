package normalise

import (
	"fmt"
	"strings"
	"testing"
)

const labHeader = "patient_id;test;value_raw;unit_raw;collected_at;resulted_at;status;point_of_care"

func lab(test, value, unit string) string {
	return "P1;" + test + ";" + value + ";" + unit + ";2025-03-10T09:00Z;;;"
}

// Conversions by the SI and UCUM definitions of the units: fibrinogen of
// 340 kDa, haemoglobin monomer of 16,114 g/mol, cells per litre.
func TestUnitsOfLabs(t *testing.T) {
	for _, c := range []struct{ test, value, unit, want string }{
		{"fibrinogen", "180", "mg/dL", "1.8"}, {"fibrinogen", "150", "mg/dL", "1.5"}, {"fibrinogen", "5.9", "umol/L", "2.006"}, {"fibrinogen", "5.9", "µmol/L", "2.006"},
		{"fibrinogen", "5.9", "μmol/L", "2.006"}, {"fibrinogen", "2.4", " g/l ", "2.4"}, {"fibrinogen", "2.4", "mg/mL", "2.4"},
		{"hb", "8.7", "g/dL", "87"}, {"hb", "8.7", "mmol/L", "140.1918"}, {"hb", "87", "g/L", "87"},
		{"hct", "36", "%", "0.36"}, {"hct", "0.36", "1", "0.36"}, {"hct", "0.36", "L/L", "0.36"},
		{"platelets", "150", "10*3/uL", "150"}, {"platelets", "150", "10*9/L", "150"}, {"platelets", "150", "10^9/L", "150"}, {"platelets", "150000", "/uL", "150"},
		{"platelets", "150", "/nL", "150"}, {"platelets", "150", "10^3/µL", "150"}, {"inr", "2.1", "", "2.1"}, {"inr", "2.1", "1", "2.1"}, {"pt_ratio", "1.7", "", "1.7"},
		{"pt_s", "14.5", "s", "14.5"}, {"aptt_s", "41", "s", "41"}, {"viscoelastic", "80", "s", "80"}, {"pt_s", "14.5", "secs", "14.5"},
	} {
		r := read(t, "labs", "unit_raw: {secs: s}", "", labHeader, lab(c.test, c.value, c.unit))
		same(t, c.test+" "+c.unit, r.one(t, "labs-"+c.test), map[string]string{"value": c.want, "value_raw": c.value, "unit_raw": strings.TrimSpace(c.unit), "status": "final"})
	}
}

func TestUnitsThatCannotBe(t *testing.T) {
	for _, c := range []struct{ test, unit, fault string }{
		{"fibrinogen", "", "value dropped"}, {"hb", "", "value dropped"}, {"hct", "", "value dropped"}, {"pt_s", "", "value dropped"},
		{"fibrinogen", "s", "unit_raw dropped"}, {"inr", "s", "unit_raw dropped"}, {"pt_s", "secs", "unit_raw dropped"}, {"hb", "mg/kg", "unit_raw dropped"},
	} {
		r := read(t, "labs", "", "", labHeader, lab(c.test, "12", c.unit))
		same(t, c.test, r.one(t, "labs-"+c.test), map[string]string{"value": "", "value_raw": "12", "no_value": ""})
		if r.faults() != c.fault {
			t.Errorf("%s %q: problems %s, want %s", c.test, c.unit, r.faults(), c.fault)
		}
	}
	// The site's word for rows without a unit.
	r := read(t, "labs", "units: {fibrinogen: mg/dL}", "", labHeader, lab("fibrinogen", "180", ""), lab("fibrinogen", "1.8", "g/L"))
	for i, row := range r.rows["labs-fibrinogen"] {
		same(t, fmt.Sprint("stated unit ", i), row, map[string]string{"value": "1.8"})
	}
}

// A canonical value without a unit is in the contract's; beside a raw one the
// raw goes first, and its unit is not asked of the canonical.
func TestCanonicalAndRawValue(t *testing.T) {
	r := read(t, "labs", "", "", "patient_id;test;value;value_raw;unit_raw;collected_at",
		"P1;fibrinogen;1.8;;;2025-03-10T09:00Z", "P1;fibrinogen;1.8;180;mg/dL;2025-03-10T09:00Z", "P1;fibrinogen;1.8;180;;2025-03-10T09:00Z", "P1;fibrinogen;180;;mg/dL;2025-03-10T09:00Z")
	for i, row := range r.rows["labs-fibrinogen"] {
		same(t, fmt.Sprint("row ", i), row, map[string]string{"value": "1.8", "no_value": ""})
	}
	if r.counts.Accepted != 4 || len(r.problems) != 0 {
		t.Errorf("accepted %d, problems %v", r.counts.Accepted, r.problems)
	}
}

// The ends of what is believed are allowed; what is beyond is null in value and
// kept in value_raw, and the row stays.
func TestLimitsOfLabs(t *testing.T) {
	for _, c := range []struct{ test, unit, low, under, high, over string }{
		{"inr", "", "0.5", "0.499", "30", "30.01"}, {"pt_ratio", "", "0.3", "0.29", "30", "30.1"}, {"aptt_ratio", "", "0.3", "0.29", "30", "30.1"},
		{"pt_s", "s", "5", "4.9", "300", "300.1"}, {"aptt_s", "s", "10", "9.9", "400", "401"}, {"viscoelastic", "s", "10", "9", "3600", "3601"},
		{"fibrinogen", "g/L", "0", "-0.1", "20", "20.1"}, {"hb", "g/dL", "1", "0.99", "26", "26.01"}, {"platelets", "10*9/L", "0", "-1", "3000", "3001"}, {"hct", "%", "5", "4.9", "80", "80.1"},
	} {
		r := read(t, "labs", "", "", labHeader, lab(c.test, c.low, c.unit), lab(c.test, c.high, c.unit), lab(c.test, c.under, c.unit), lab(c.test, c.over, c.unit))
		rows := r.rows["labs-"+c.test]
		for i, row := range rows {
			if known := row["value"] != ""; known != (i < 2) && row["derived_from"] == "" {
				t.Errorf("%s: %s is believed: %v", c.test, row["value_raw"], known)
			}
			if row["value_raw"] == "" && row["derived_from"] == "" {
				t.Errorf("%s: row %d lost its raw value", c.test, i)
			}
		}
		if got := strings.Count(r.faults(), "value suspect"); got < 2 || len(rows) < 4 {
			t.Errorf("%s: problems %s, %d rows", c.test, r.faults(), len(rows))
		}
	}
}

func TestBoundsAndWords(t *testing.T) {
	for value, want := range map[string]string{
		">9.0": "9 > ", "<0.5": "0.5 < ", "≥ 10": "10 >= ", "<=1": "1 <= ", "2,4": "2.4  ",
		"No clot": "  unclottable", "CLOTTED": "  clotted", "*haemolysed*": "  haemolysed", "QNS": "  insufficient", "Pending": "  pending",
		"see comment": "  other", "": "  other", "ohne Gerinnung": "  unclottable",
	} {
		row := read(t, "labs", "no_value: {Ohne Gerinnung: unclottable}", "", labHeader, lab("inr", value, "")).one(t, "labs-inr")
		if got := row["value"] + " " + row["bound"] + " " + row["no_value"]; got != want {
			t.Errorf("%q: %q, want %q", value, got, want)
		}
	}
	// Flags behind a number are those of HL7 table 0078, and signs in their place.
	for value, want := range map[string]string{
		"2,3 *": "2.3  ", "2.3*": "2.3  ", "2,3 H": "2.3  ", "2.3 L": "2.3  ", "2.3H": "2.3  ", "2.3 HH": "2.3  ", "2.3 LL": "2.3  ", "2.3 N": "2.3  ", "2.3 A": "2.3  ", "2.3 AA": "2.3  ",
		"2.3 +": "2.3  ", "2.3 --": "2.3  ", "2.3 (H)": "2.3  ", "2.3\u00a0[L]": "2.3  ", "2.3↑": "2.3  ", "> 9.0 H": "9 > ", ">9 >": "9 > ", "0.8 <": "0.8 < ", "9.0 >": "9 > ", "<=0.8 <": "0.8 <= ",
		">9 <": "  other", "2.3 h": "  other", "2.3-": "  other", "2.3A": "  other", "2.3 HL": "  other", "H 2.3": "  other", "H": "  other", "2. H": "  other", "2.3 U": "  other", "1:2 H": "  other", "*": "  other",
		"2,345 H": "  ", // Told as a problem.
	} {
		r := read(t, "labs", "", "", labHeader, lab("inr", value, ""))
		row := r.one(t, "labs-inr")
		if got := row["value"] + " " + row["bound"] + " " + row["no_value"]; got != want || row["value_raw"] != value {
			t.Errorf("%q: %q of %q, want %q", value, got, row["value_raw"], want)
		}
		if len(r.problems) > 0 != (want == "  ") {
			t.Errorf("%q: problems %v", value, r.problems)
		}
	}
	// Cancelled in the place of a number is a status.
	row := read(t, "labs", "", "", labHeader, lab("inr", "Cancelled", "")).one(t, "labs-inr")
	same(t, "cancelled", row, map[string]string{"status": "cancelled", "no_value": "cancelled", "value": ""})
}

func TestStatusAndPlaceOfLabs(t *testing.T) {
	r := read(t, "labs", "status: {F: final, K: corrected}\npoint_of_care: {POCT: true, LAB: false}", "", labHeader,
		"P1;INR;2;;2025-03-10T09:00Z;;;", "P1;inr;2;;2025-03-10T09:00Z;;k;POCT", "P1;inr;2;;2025-03-10T09:00Z;;Cancelled;lab", "P1;inr;2;;2025-03-10T09:00Z;;odd;maybe", "P1;inr;2;;2025-03-10T09:00Z;;f;yes")
	want := [][2]string{{"final", "false"}, {"corrected", "true"}, {"cancelled", "false"}, {"preliminary", "false"}, {"final", "true"}}
	for i, row := range r.rows["labs-inr"] {
		if row["status"] != want[i][0] || row["point_of_care"] != want[i][1] {
			t.Errorf("row %d: %s %s, want %v", i, row["status"], row["point_of_care"], want[i])
		}
		if row["source_row"] != fmt.Sprint(i+2) || row["source_file"] != "x.csv" {
			t.Errorf("row %d stands at %s:%s", i, row["source_file"], row["source_row"])
		}
	}
	if r.counts.Unmapped["status=odd"] != 1 || r.counts.Unmapped["point_of_care=maybe"] != 1 || len(r.problems) != 0 {
		t.Errorf("unmapped %v, problems %v", r.counts.Unmapped, r.problems)
	}
}

// Set aside is decided first: such a row may be as broken as it likes.
func TestLabsSetAside(t *testing.T) {
	rows := []string{labHeader, ";UREA;5;mmol/L;never;;;", "P1;urea;5;mmol/L;2025-03-10T09:00Z;;;", "P1;XYZ;5;;2025-03-10T09:00Z;;;", "P1;NA;140;;2025-03-10T09:00Z;;;", "P1;Quick;2;;2025-03-10T09:00Z;;;", "P1;;2;;2025-03-10T09:00Z;;;"}
	r := read(t, "labs", "test: {QUICK: inr}\nignore: [na]", "", rows...)
	if r.counts.SetAside != 4 || r.counts.Accepted != 1 || r.counts.Rejected != 1 {
		t.Errorf("counts %+v", r.counts)
	}
	if got := r.counts.SetAsideCodes; len(got) != 3 || got["test=UREA"] != (CodeCount{1, "mmol/L"}) || got["test=XYZ"].Count != 1 {
		t.Errorf("codes set aside: %v", got)
	}
	if r.faults() != "test rejected" {
		t.Errorf("problems %s", r.faults())
	}
	if got := read(t, "labs", "test: {QUICK: inr}\nignore: rest", "", rows...).counts; len(got.SetAsideCodes) != 0 || got.SetAside != 4 {
		t.Errorf("with ignore: rest: %+v", got)
	}
}

func TestRejectedLabs(t *testing.T) {
	r := read(t, "labs", "", "2025-03-10", labHeader,
		";inr;2;;2025-03-10T09:00Z;;;", "P1;inr;2;;;;;", "P1;inr;2;;10/03/2025 09:00;;;", "P1;inr;2;;2025-03-11T00:00Z;;;", "P1;inr;2", ";inr;2;;x;;;", "P1;inr;2;;2025-03-10T23:59:59Z;;;")
	if r.counts.Accepted != 1 || r.counts.Rejected != 6 {
		t.Errorf("counts %+v", r.counts)
	}
	want := "patient_id rejected, collected_at rejected, collected_at rejected, collected_at rejected, source_row rejected, patient_id rejected, collected_at rejected"
	if r.faults() != want {
		t.Errorf("problems %s, want %s", r.faults(), want)
	}
	for _, p := range r.problems {
		if strings.Contains(p["reason"], "P1") || p["source_row"] == "" {
			t.Errorf("problem %v", p)
		}
	}
}

func TestOrderOfLabs(t *testing.T) {
	for _, c := range []struct{ resulted, want, fault string }{
		{"2025-03-10T09:30Z", "2025-03-10T09:30:00", ""}, {"2025-03-10T08:50Z", "2025-03-10T09:00:00", ""}, {"2025-03-10T08:49:59Z", "", "resulted_at suspect"},
		{"2025-03-10", "2025-03-10T00:00:00", ""}, {"2025-03-09", "", "resulted_at suspect"}, {"soon", "", "resulted_at dropped"},
	} {
		r := read(t, "labs", "", "", labHeader, "P1;inr;2;;2025-03-10T09:00Z;"+c.resulted+";;")
		row := r.one(t, "labs-inr")
		if row["resulted_at"] != c.want || r.faults() != c.fault {
			t.Errorf("resulted %s: %q with %s, want %q with %s", c.resulted, row["resulted_at"], r.faults(), c.want, c.fault)
		}
		if told := row["date_only"] == "resulted_at"; told != (c.resulted == "2025-03-10") {
			t.Errorf("resulted %s: date_only is %q", c.resulted, row["date_only"])
		}
		if n := r.counts.Counted["times_set_equal"]; n != 1 && strings.Contains(c.resulted, "08:50") {
			t.Errorf("resulted %s: %d set equal", c.resulted, n)
		}
	}
}

// The ratio of a time to the mean normal time of its day: 18 / 12 = 1.5 by
// definition (PT ratio); from July the mean is 12.5.
func TestDerivedRatios(t *testing.T) {
	r := read(t, "labs", "units: {pt_s: s, aptt_s: s}", "", labHeader,
		"P1;pt_s;18;;2025-03-10T09:00Z;2025-03-10T10:00Z;corrected;", "P1;pt_s;>120;;2025-06-30T22:59Z;;;", "P1;pt_s;>120;;2025-06-30T23:00Z;;;",
		"P1;pt_s;no clot;;2024-03-10T09:00Z;;;", "P1;pt_s;18;;2024-03-10T09:00Z;;;", "P1;pt_s;;;2025-03-10T09:00Z;;cancelled;", "P1;aptt_s;40;;2025-03-10T09:00Z;;;", "P1;aptt_s;no clot;;2025-03-10T09:00Z;;;")
	// Midnight of 1 July in London is 23:00 UTC of 30 June.
	want := []string{"1.5  corrected ", "10 > final ", "9.6 > final ", "  final unclottable", "  final ", "  cancelled other"}
	rows := r.rows["labs-pt_ratio"]
	if len(rows) != len(want) {
		t.Fatalf("%d ratios, want %d", len(rows), len(want))
	}
	for i, row := range rows {
		if got := strings.Join([]string{row["value"], row["bound"], row["status"], row["no_value"]}, " "); got != want[i] {
			t.Errorf("ratio %d: %q, want %q", i, got, want[i])
		}
		same(t, "ratio", row, map[string]string{"test": "pt_ratio", "derived_from": "pt_s", "value_raw": "", "unit_raw": "", "patient_id": "P1", "source_row": fmt.Sprint(i + 2)})
	}
	if got := r.rows["labs-aptt_ratio"]; len(got) != 2 || got[0]["value"] != "" || got[1]["no_value"] != "unclottable" {
		t.Errorf("without a mean normal time: %v", got)
	}
	if r.counts.Accepted != 8 || r.counts.Counted["derived_ratios"] != 8 || r.counts.Counted["ratios_without_mean_normal"] != 2 {
		t.Errorf("counts %+v", r.counts)
	}
}

// What a format could not take apart is rejected with its place, what is no row
// of the table is set aside under its own name, and both are counted.
func TestRowsThatAFormatCouldNotGive(t *testing.T) {
	s, f := load(t, "labs", "ignore: [message=ADT^A08]")
	m, err := New(s, f, []string{"patient_id", "test", "collected_at"}, FileInfo{Name: "x.hl7"})
	if err != nil {
		t.Fatal(err)
	}
	b := m.NewBatch()
	b.Reject(7, "found no name of a segment")
	b.SetAside("message=ADT^A08")
	b.SetAside("message=SIU^S12")
	b.SetAside("message=SIU^S12")
	out := b.Finish()
	if c := out.Counts; c.Read != 4 || c.Rejected != 1 || c.SetAside != 3 || len(c.SetAsideCodes) != 1 || c.SetAsideCodes["message=SIU^S12"].Count != 2 {
		t.Errorf("counts %+v", c)
	}
	problems := texts(t, out.Problems)
	if len(problems) != 1 {
		t.Fatalf("problems %v", problems)
	}
	same(t, "problem", problems[0], map[string]string{"source_row": "7", "column": "source_row", "raw": "", "severity": "rejected", "reason": "cannot be taken apart: found no name of a segment"})
}

// Set aside is decided before rejected: a result that is none of our business is
// set aside, whatever else is wrong with it.
func TestFaultyRowsOfOtherTests(t *testing.T) {
	s, f := load(t, "labs", "")
	m, err := New(s, f, []string{"patient_id", "test", "collected_at"}, FileInfo{Name: "x.hl7"})
	if err != nil {
		t.Fatal(err)
	}
	b := m.NewBatch()
	for i, test := range []string{"GLUC", "inr", ""} {
		b.AddFaulty(int64(i+1), [][]byte{nil, []byte(test), nil}, "found several identifiers")
	}
	out := b.Finish()
	if c := out.Counts; c.Read != 3 || c.Rejected != 2 || c.SetAside != 1 || c.SetAsideCodes["test=GLUC"].Count != 1 {
		t.Errorf("counts %+v", c)
	}
	for i, problem := range texts(t, out.Problems) {
		same(t, "problem", problem, map[string]string{"source_row": []string{"2", "3"}[i], "column": "source_row", "reason": "cannot be taken apart: found several identifiers"})
	}
}

// Published codes of a file's format stand beneath the site's own map.
func TestCodesOfAFormat(t *testing.T) {
	s, f := load(t, "labs", "status: {F: preliminary}")
	m, err := New(s, f, []string{"patient_id", "test", "collected_at", "status"}, FileInfo{Name: "x.hl7",
		Codes: map[string]map[string]string{"status": {"f": "final", "d": "cancelled"}}})
	if err != nil {
		t.Fatal(err)
	}
	b := m.NewBatch()
	for i, status := range []string{"F", "D", "corrected"} {
		b.Add(int64(i+1), [][]byte{[]byte("P1"), []byte("inr"), []byte("2025-03-10T09:00Z"), []byte(status)})
	}
	for i, row := range texts(t, b.Finish().Records["labs-inr"]) {
		same(t, "status", row, map[string]string{"status": []string{"preliminary", "cancelled", "corrected"}[i]})
	}
}

// A text in place of a number that nothing explains is listed, so that the site
// may map it; remarks and what may be numbers of persons are counted alone.
func TestTextsInPlaceOfNumbers(t *testing.T) {
	rows := []string{labHeader}
	for _, text := range []string{"geronnen", "Geronnen", "geronnen", "folgt", "No clot", "", "1.4", "siehe Befund 123456", "12.3.2026", strings.Repeat("lang ", 9)} {
		rows = append(rows, lab("inr", text, ""))
	}
	r := read(t, "labs", "no_value: {folgt: pending}", "", rows...)
	if got := fmt.Sprint(r.counts.Unmapped, r.counts.Counted["texts_not_listed"], len(r.problems)); got != "map[no_value=Geronnen:1 no_value=geronnen:2] 3 0" {
		t.Errorf("%s", got)
	}
	// However many there are, no more are listed than a person reads.
	rows = rows[:1]
	for i := range 300 {
		rows = append(rows, lab("inr", fmt.Sprintf("text %d", i), ""), lab("inr", "text 1", ""))
	}
	r = read(t, "labs", "", "", rows...)
	if len(r.counts.Unmapped) != 200 || r.counts.Unmapped["no_value=text 1"] != 301 || r.counts.Counted["texts_not_listed"] != 100 {
		t.Errorf("%d texts, %v", len(r.counts.Unmapped), r.counts.Counted)
	}
}
