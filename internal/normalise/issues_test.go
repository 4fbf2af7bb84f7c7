package normalise

import (
	"strings"
	"testing"
)

// issue reads one row of issues whose cells are given as name=value words.
func issue(t *testing.T, extra, day string, cells ...string) result {
	t.Helper()
	names, values := []string{"unit_no", "product_code"}, []string{"U1", "F"}
next:
	for _, cell := range cells {
		name, value, _ := strings.Cut(cell, "=")
		for i, n := range names {
			if n == name {
				values[i] = value
				continue next
			}
		}
		names, values = append(names, name), append(values, value)
	}
	if !strings.Contains(strings.Join(names, " "), "_at") {
		names, values = append(names, "issued_at"), append(values, "2025-03-10T10:00Z")
	}
	return read(t, "issues", extra, day, strings.Join(names, ";"), strings.Join(values, ";"))
}

func TestIssueFromItsProduct(t *testing.T) {
	row := issue(t, "", "", "product_code= f ").one(t, "issues")
	same(t, "F", row, map[string]string{"product_code": "F", "bag_code": "FT", "component": "plasma", "product": "fresh_frozen", "nominal_ml": "275.000", "is_batch": "false", "fate": "presumed", "issued_at": "2025-03-10T10:00:00", "issued_local": "2025-03-10T10:00:00"})
	row = issue(t, "", "", "product_code=ft").one(t, "issues")
	same(t, "FT", row, map[string]string{"product_code": "FT", "bag_code": "FT", "product": "thawed"})
	row = issue(t, "", "", "product_code=B", "bag_no=7", "unit_no=G1234 98 654321 H").one(t, "issues")
	same(t, "B", row, map[string]string{"is_batch": "true", "bag_no": "7", "unit_no": "G123498654321H"})
	row = issue(t, "", "", "product_code=R").one(t, "issues")
	same(t, "R", row, map[string]string{"component": "red_cells", "product": ""})
	r := issue(t, "", "", "product_code=E9001", "issued_at=never")
	if r.counts.SetAside != 1 || r.counts.SetAsideCodes["product_code=E9001"].Count != 1 || len(r.problems) != 0 {
		t.Errorf("a code in no map: %+v, %v", r.counts, r.problems)
	}
}

func TestIssueNumbers(t *testing.T) {
	r := issue(t, "", "", "unit_no=G123498654321H")
	same(t, "checked", r.one(t, "issues"), map[string]string{"unit_no": "G123498654321"})
	// One digit off the published number: the check character is no longer its own.
	r = issue(t, "", "", "unit_no=G123498654322H")
	same(t, "mismatch", r.one(t, "issues"), map[string]string{"unit_no": "G123498654322H"})
	if r.faults() != "unit_no noted" {
		t.Errorf("problems %s", r.faults())
	}
	if r = issue(t, "", "", "unit_no= "); r.faults() != "unit_no rejected" {
		t.Errorf("no number: problems %s", r.faults())
	}
}

func TestVolumes(t *testing.T) {
	for _, c := range []struct{ cells, volume, given, fault string }{
		{"volume_ml=5", "5.000", "", ""}, {"volume_ml=700", "700.000", "", ""}, {"volume_ml=4.9", "", "", "volume_ml suspect"}, {"volume_ml=700.1", "", "", "volume_ml suspect"},
		{"product_code=R volume_ml=900", "900.000", "", ""}, {"volume_ml=275,5", "275.500", "", ""}, {"volume_ml=much", "", "", "volume_ml dropped"},
		{"volume_ml=200 transfused_ml=220", "200.000", "220.000", ""}, {"volume_ml=200 transfused_ml=220.1", "200.000", "", "transfused_ml suspect"},
		{"transfused_ml=302.5", "", "302.500", ""}, {"transfused_ml=302.6", "", "", "transfused_ml suspect"}, {"transfused_ml=0", "", "0.000", ""}, {"transfused_ml=-1", "", "", "transfused_ml suspect"},
		{"volume_ml=2000 transfused_ml=300", "", "300.000", "volume_ml suspect"},
	} {
		r := issue(t, "", "", strings.Fields(c.cells)...)
		same(t, c.cells, r.one(t, "issues"), map[string]string{"volume_ml": c.volume, "transfused_ml": c.given})
		if r.faults() != c.fault {
			t.Errorf("%s: problems %s, want %s", c.cells, r.faults(), c.fault)
		}
	}
}

func TestFate(t *testing.T) {
	for _, c := range []struct{ cells, want string }{
		{"issued_at=2025-03-10T10:00Z started_at=2025-03-10T10:10Z discarded_at=2025-03-10T11:00Z", "transfused"},
		{"issued_at=2025-03-10T10:00Z discarded_at=2025-03-10T11:00Z returned_at=2025-03-10T10:30Z", "discarded"},
		{"issued_at=2025-03-10T10:00Z returned_at=2025-03-10T10:30Z", "returned"}, {"issued_at=2025-03-10T10:00Z", "presumed"}, {"thawed_at=2025-03-10T10:00Z", "unknown"},
		{"issued_at=2025-03-10T10:00Z fate=tx", "transfused"}, {"issued_at=2025-03-10T10:00Z fate=Returned", "returned"}, {"issued_at=2025-03-10T10:00Z fate=LOST started_at=2025-03-10T10:10Z", "unknown"},
		// A start told as a date alone is as absent.
		{"issued_at=2025-03-10T10:00Z started_at=2025-03-10", "presumed"},
	} {
		r := issue(t, "fate: {TX: transfused}", "", strings.Fields(c.cells)...)
		same(t, c.cells, r.one(t, "issues"), map[string]string{"fate": c.want})
		if strings.Contains(c.cells, "LOST") && r.counts.Unmapped["fate=LOST"] != 1 {
			t.Errorf("unmapped %v", r.counts.Unmapped)
		}
		if strings.HasSuffix(c.cells, "=2025-03-10") && (r.counts.Counted["dates_without_time_dropped"] != 1 || r.one(t, "issues")["date_only"] != "") {
			t.Errorf("counted %v", r.counts.Counted)
		}
	}
}

func TestIndicationKeepsWhatWasWritten(t *testing.T) {
	for _, column := range []string{"indication", "indication_raw"} {
		row := issue(t, "indication: {Pre-op: procedure}", "", column+"= PRE-OP").one(t, "issues")
		same(t, column, row, map[string]string{"indication": "procedure", "indication_raw": "PRE-OP"})
		r := issue(t, "", "", column+"=Pre-op")
		same(t, column, r.one(t, "issues"), map[string]string{"indication": "", "indication_raw": "Pre-op"})
		if r.counts.Unmapped["indication=Pre-op"] != 1 || len(r.problems) != 0 {
			t.Errorf("unmapped %v, problems %v", r.counts.Unmapped, r.problems)
		}
	}
}

// The first pass of the repeated hour ends, and the second begins, at 01:00 UTC
// on 26 October 2025 (The Summer Time Order 2002, SI 2002/262).
func TestRepeatedHour(t *testing.T) {
	// Thawed in the first pass; issued and started in the second, since they
	// cannot come before the thaw.
	r := issue(t, "", "", "thawed_at=2025-10-26T01:50", "issued_at=2025-10-26T01:20", "started_at=2025-10-26T01:40", "ended_at=2025-10-26T02:30")
	same(t, "thaw after issue on the wall", r.one(t, "issues"), map[string]string{
		"thawed_at": "2025-10-26T00:50:00", "issued_at": "2025-10-26T01:20:00", "started_at": "2025-10-26T01:40:00", "ended_at": "2025-10-26T02:30:00", "issued_local": "2025-10-26T01:20:00"})
	if r.counts.Counted["repeated_hours"] != 3 {
		t.Errorf("counted %v", r.counts.Counted)
	}
	for _, c := range []struct{ cells, issued, started string }{
		{"issued_at=2025-10-26T01:20", "2025-10-26T00:20:00", ""},
		{"issued_at=2025-10-26T01:20 started_at=2025-10-26T01:40", "2025-10-26T00:20:00", "2025-10-26T00:40:00"},
		{"issued_at=2025-10-26T01:20 started_at=2025-10-26T01:10", "2025-10-26T00:20:00", "2025-10-26T01:10:00"},
		{"requested_at=2025-10-26T01:05Z issued_at=2025-10-26T01:20", "2025-10-26T01:20:00", ""},
		// No reading puts the thaw before the issue: that pair says nothing.
		{"thawed_at=2025-10-26T05:00Z issued_at=2025-10-26T01:20 started_at=2025-10-26T01:10", "2025-10-26T00:20:00", "2025-10-26T01:10:00"},
		// The request asks for the later issue, the start for the earlier: the earlier of each.
		{"requested_at=2025-10-26T01:05Z issued_at=2025-10-26T01:20 started_at=2025-10-26T00:25Z", "2025-10-26T00:20:00", "2025-10-26T00:25:00"},
	} {
		same(t, c.cells, issue(t, "", "", strings.Fields(c.cells)...).one(t, "issues"), map[string]string{"issued_at": c.issued, "started_at": c.started})
	}
	// The hour that the clock skips on 30 March 2025.
	r = issue(t, "", "", "issued_at=2025-03-30T00:50Z", "started_at=2025-03-30T01:30")
	same(t, "skipped", r.one(t, "issues"), map[string]string{"started_at": "", "fate": "presumed"})
	if r.faults() != "started_at dropped" || r.counts.Counted["skipped_hours"] != 1 {
		t.Errorf("problems %s, counted %v", r.faults(), r.counts.Counted)
	}
	if r = issue(t, "", "", "issued_at=2025-03-30T01:30", "thawed_at=2025-03-30T00:30Z"); r.faults() != "issued_at rejected" {
		t.Errorf("an issue in the skipped hour: %s", r.faults())
	}
}

func TestOrderOfIssues(t *testing.T) {
	const at = "2025-03-10T10:00Z"
	for _, c := range []struct{ column, value, want, fault string }{
		{"thawed_at", "2025-03-10T10:10Z", "2025-03-10T10:00:00", ""}, {"thawed_at", "2025-03-10T10:10:01Z", "", "thawed_at suspect"},
		{"thawed_at", "2025-03-03T10:00Z", "2025-03-03T10:00:00", ""}, {"thawed_at", "2025-03-03T09:59Z", "", "thawed_at suspect"},
		{"thawed_at", "2025-03-10", "2025-03-10T00:00:00", ""}, {"thawed_at", "2025-03-11", "", "thawed_at suspect"},
		{"started_at", "2025-03-10T09:50Z", "2025-03-10T10:00:00", ""}, {"started_at", "2025-03-10T09:49Z", "", "started_at suspect"},
		{"started_at", "2025-03-11T10:00Z", "2025-03-11T10:00:00", ""}, {"started_at", "2025-03-11T10:01Z", "", "started_at suspect"},
		{"ended_at", "2025-03-11T10:00Z", "2025-03-11T10:00:00", ""}, {"ended_at", "2025-03-11T10:01Z", "", "ended_at suspect"}, {"ended_at", "2025-03-10T09:55Z", "2025-03-10T10:00:00", ""}, {"ended_at", "2025-03-10T09:00Z", "", "ended_at suspect"},
		{"returned_at", "2025-03-10T09:55Z", "2025-03-10T10:00:00", ""}, {"returned_at", "2025-03-10T09:00Z", "", "returned_at suspect"}, {"returned_at", "2025-03-17T10:00Z", "2025-03-17T10:00:00", ""}, {"returned_at", "2025-03-17T10:01Z", "", "returned_at suspect"},
		{"discarded_at", "2025-03-09", "", "discarded_at suspect"}, {"discarded_at", "2025-03-10", "2025-03-10T00:00:00", ""}, {"discarded_at", "2025-03-17T11:00Z", "", "discarded_at suspect"},
		{"requested_at", "2025-03-10T10:05Z", "2025-03-10T10:00:00", ""}, {"requested_at", "2025-03-10T11:00Z", "", "requested_at suspect"}, {"requested_at", "2025-03-03T09:00Z", "", "requested_at suspect"},
		{"left_storage_at", "2025-03-09T10:00Z", "2025-03-09T10:00:00", ""}, {"left_storage_at", "2025-03-09T09:59Z", "", "left_storage_at suspect"}, {"left_storage_at", "2025-03-11T10:01Z", "", "left_storage_at suspect"},
		{"expires_at", "2026-03-10", "2026-03-10T23:59:59.999999", ""}, {"expires_at", "2025-07-10", "2025-07-10T22:59:59.999999", ""}, {"expires_at", "2024-01-01T10:00Z", "2024-01-01T10:00:00", ""},
	} {
		r := issue(t, "", "", "issued_at="+at, c.column+"="+c.value)
		row := r.one(t, "issues")
		if row[c.column] != c.want || r.faults() != c.fault {
			t.Errorf("%s %s: %q with %s, want %q with %s", c.column, c.value, row[c.column], r.faults(), c.want, c.fault)
		}
		if (len(c.value) == 10 && c.want != "") != (row["date_only"] == c.column) {
			t.Errorf("%s %s: date_only is %q", c.column, c.value, row["date_only"])
		}
	}
	// Five minutes off, but told as a date alone: never set equal.
	late := issue(t, "", "", "issued_at=2025-03-10T23:55Z", "thawed_at=2025-03-11")
	if same(t, "thaw on the next day", late.one(t, "issues"), map[string]string{"thawed_at": "", "date_only": ""}); late.faults() != "thawed_at suspect" {
		t.Errorf("problems %s", late.faults())
	}
	// An end before the start, though after the issue.
	r := issue(t, "", "", "issued_at="+at, "started_at=2025-03-10T12:00Z", "ended_at=2025-03-10T11:00Z")
	if same(t, "end", r.one(t, "issues"), map[string]string{"ended_at": "", "started_at": "2025-03-10T12:00:00"}); r.faults() != "ended_at suspect" {
		t.Errorf("problems %s", r.faults())
	}
}

func TestTimesOfTheFileAndOfTheRow(t *testing.T) {
	// The file's day in London ends at 22:59:59.999999 UTC in summer.
	for _, c := range []struct{ cells, fault string }{
		{"issued_at=2025-07-10T22:59:59.999999Z", ""}, {"issued_at=2025-07-10T23:00Z", "issued_at rejected"}, {"issued_at=2025-07-10", ""}, {"issued_at=2025-07-11", "issued_at rejected"},
		{"issued_at=2025-07-10T22:00Z started_at=2025-07-10T23:30Z", "started_at suspect"}, {"issued_at=2025-07-10T22:00Z expires_at=2026-07-10T23:30Z", ""},
		{"thawed_at=2025-07-11T10:00Z", "thawed_at rejected"}, {"thawed_at=2025-07-11T10:00Z discarded_at=2025-07-10T10:00Z", "thawed_at suspect"},
		{"issued_at=soon thawed_at=2025-07-10T10:00Z", "issued_at rejected"}, {"issued_at= thawed_at=2025-07-10T10:00Z", ""}, {"issued_at= thawed_at=", "issued_at rejected"},
		{"thawed_at=soon discarded_at=never", "thawed_at rejected, discarded_at rejected"}, {"issued_at=2025-07-10T10:00Z thawed_at=soon", "thawed_at dropped"},
	} {
		if r := issue(t, "", "2025-07-10", strings.Fields(c.cells)...); r.faults() != c.fault {
			t.Errorf("%s: problems %s, want %s", c.cells, r.faults(), c.fault)
		}
	}
	// Without a date in the name nothing comes after the file.
	if r := issue(t, "", "", "issued_at=2035-07-10T23:00Z"); r.faults() != "" {
		t.Errorf("an undated file: %s", r.faults())
	}
}

func TestStatedFormats(t *testing.T) {
	format := "time_format: [02/01/2006 15:04, 02/01/2006]"
	same(t, "day first", issue(t, format, "", "issued_at=03/07/2025 10:00").one(t, "issues"), map[string]string{"issued_at": "2025-07-03T09:00:00", "issued_local": "2025-07-03T10:00:00"})
	same(t, "date alone", issue(t, format, "", "issued_at=03/07/2025").one(t, "issues"), map[string]string{"issued_at": "2025-07-02T23:00:00", "date_only": "issued_at"})
	same(t, "ISO beside it", issue(t, format, "", "issued_at=2025-07-03 10:00").one(t, "issues"), map[string]string{"issued_at": "2025-07-03T09:00:00"})
	// Month first contradicts the format: not a guess.
	if r := issue(t, format, "", "issued_at=07/13/2025 10:00"); r.faults() != "issued_at rejected" {
		t.Errorf("problems %s", r.faults())
	}
}

func TestCancelledIssue(t *testing.T) {
	same(t, "cancelled", issue(t, "status: {DEL: cancelled}", "", "status=del").one(t, "issues"), map[string]string{"status": "cancelled"})
	r := issue(t, "", "", "status=complete")
	if same(t, "any other", r.one(t, "issues"), map[string]string{"status": ""}); len(r.counts.Unmapped) != 0 {
		t.Errorf("unmapped %v", r.counts.Unmapped)
	}
}

func TestBedside(t *testing.T) {
	r := read(t, "bedside", "", "", "unit_no;product_code;patient_id;started_at;ended_at;transfused_ml",
		"U1;;P;2025-03-10T10:00Z;2025-03-10T09:55Z;250", "U1;f;P;2025-03-10T10:00Z;;9999", "U1;F;P;2025-03-10;;", "U1;ALB;P;2025-03-10T10:00Z;;", "U1;F;P;;;")
	if r.counts.Accepted != 2 || r.counts.Rejected != 2 || r.counts.SetAside != 1 || r.faults() != "started_at rejected, started_at rejected" {
		t.Fatalf("counts %+v, problems %s", r.counts, r.faults())
	}
	same(t, "first", r.rows["bedside"][0], map[string]string{"ended_at": "2025-03-10T10:00:00", "transfused_ml": "250.000", "product_code": "", "bag_code": ""})
	// The limits of the volume are asked once the issue is known.
	same(t, "second", r.rows["bedside"][1], map[string]string{"transfused_ml": "9999.000", "product_code": "F", "bag_code": "FT"})
}
