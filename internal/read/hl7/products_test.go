package hl7

import (
	"fmt"
	"strings"
	"testing"

	"thawline/internal/contract"
)

const (
	bps = `MSH|^~\&|BB|TARN|AUDIT|TARN|20250310120000||BPS^O29^BPS_O29|1|P|2.5.1`
	bts = `MSH|^~\&|BB|TARN|AUDIT|TARN|20250310120000||BTS^O31^BTS_O31|1|P|2.5.1`
)

// fields makes a segment of its numbered fields.
func fields(name string, last int, of map[int]string) string {
	for i := 1; i <= last; i++ {
		name += "|" + of[i]
	}
	return name + "\n"
}

// bpx makes a message that tells a status of one bag; more holds further fields.
func bpx(status, message, at string, more map[int]string) string {
	of := map[int]string{1: "1", 2: status, 3: message, 4: at, 5: "W000025000001", 6: "FFP", 14: "1"}
	for n, text := range more {
		of[n] = text
	}
	return bps + "\nPID|||P1^^^TARN^MR\nORC|RE|1\nBPO|1|FFP\n" + fields("BPX", 21, of)
}

func btx(status, message, at, start, end string, more map[int]string) string {
	of := map[int]string{1: "1", 2: "W000025000001", 3: "FFP", 8: "1", 11: status, 12: message, 13: at, 16: start, 17: end}
	for n, text := range more {
		of[n] = text
	}
	return bts + "\nPID|||P1^^^TARN^MR\nORC|RE|1\nBPO|1|FFP\n" + fields("BTX", 20, of)
}

// Each field in its own place, by the definitions of BPX, BTX, BPO, ORC and PV1
// on which both dictionaries agree.
func TestWhereAnIssueIsRead(t *testing.T) {
	text := bps + "\nPID|||P1^^^TARN^MR\nPV1|1|I|WARD3^4^1^TARN|||||||SUR\nORC|RE|P1|F1|||||||||D12^DOCTOR\n" +
		"BPO|1|FFP^Plasma||2|275|ML|202503101000||||||BLD^Active bleeding^L|Y\n" +
		fields("BPX", 21, map[int]string{1: "1", 2: "DS^Dispensed^HL70510", 3: "F", 4: "20250310090500", 5: "W000025000001^ISBT", 6: "E0869V00^Plasma^ISBT128", 7: "V", 8: "NOT", 10: "NOT",
			11: "AB^AB POS", 13: "20250311090000", 14: "1", 15: "275", 16: "mL^^UCUM", 17: "NOT", 18: "THEATRE^2"})
	same(t, rowsOf(t, contract.Issues, text, Options{}),
		"6 unit_no=W000025000001 product_code=E0869V00 volume_ml=275 unit_abo=AB patient_id=P1 location=THEATRE specialty=SUR requester=D12 indication=BLD indication_raw=Active bleeding"+
			" issued_at=2025-03-10T09:05:00 expires_at=2025-03-11T09:00:00")
	// A commercial product is known by its lot, and within it by the unique id;
	// without a place dispensed to, it is the patient's.
	text = bps + "\nPID|||P1\nPV1|1|I|WARD3\nORC|RE\nBPO|1\n" + fields("BPX", 21, map[int]string{2: "DS", 4: "202503100905", 8: "SD^Pooled plasma", 10: "LOT9", 14: "1", 15: "0.2", 16: "L", 17: "B7"})
	same(t, rowsOf(t, contract.Issues, text, Options{}), "6 unit_no=LOT9 product_code=SD bag_no=B7 volume_ml=200 patient_id=P1 location=WARD3 issued_at=2025-03-10T09:05")
	// An amount in no unit of volume, or in none, is handed on as it is written:
	// it is no number of mL, and is told.
	for unit, want := range map[string]string{"": "1 (no unit)", "bag": "1 bag"} {
		rows := rowsOf(t, contract.Issues, bpx("DS", "F", "202503100905", map[int]string{15: "1", 16: unit}), Options{})
		if !strings.Contains(rows[0], "volume_ml="+want+" ") {
			t.Errorf("unit %q: %s", unit, rows)
		}
	}
}

const (
	bagOne = " unit_no=W000025000001 product_code=FFP patient_id=P1"
	issued = bagOne + " issued_at=2025-03-10T09:00"
)

// Table 0510: what is dispensed is issued, and presumed is presumed; returned
// and wasted are never given; what is in stock or reserved is no issue.
func TestDispenseStatus(t *testing.T) {
	for _, c := range []struct{ status, want string }{
		{"PT", "10" + issued + " fate=PT"}, {"RA", "10" + issued + " returned_at=2025-03-10T11:00 fate=RA"}, {"RL", "10" + issued + " returned_at=2025-03-10T11:00 fate=RL"},
		{"WA", "10" + issued + " discarded_at=2025-03-10T11:00 fate=WA"}, {"wa", "10" + issued + " discarded_at=2025-03-10T11:00 fate=WA"},
		{"RD", "10 other: dispense_status=RD"}, {"RS", "10 other: dispense_status=RS"}, {"RQ", "10 other: dispense_status=RQ"}, {"RE", "10 other: dispense_status=RE"}, {"RI", "10 other: dispense_status=RI"},
		{"CR", "10 other: dispense_status=CR"}, {"XX", "10 other: dispense_status=XX"}, {"", "10 other: dispense_status="},
	} {
		got := rowsOf(t, contract.Issues, bpx("DS", "F", "202503100900", nil)+bpx(c.status, "F", "202503101100", nil), Options{})
		same(t, got, "5"+issued, c.want)
	}
	codes := codesOf(contract.Issues)["fate"]
	for status, want := range map[string]string{"pt": "presumed", "ra": "returned", "rl": "returned", "wa": "discarded", "tx": "transfused", "tr": "transfused", "ds": "", "rs": ""} {
		if codes[status] != want {
			t.Errorf("%s is %q, want %q", status, codes[status], want)
		}
	}
}

// A change without its dispensing in the file tells of no issue: bags wasted
// are waste, a presumption says what an issue is without it, a return is told
// with its place.
func TestChangesWithoutTheDispensing(t *testing.T) {
	same(t, rowsOf(t, contract.Issues, bpx("WA", "F", "202503101100", nil), Options{}), "5"+bagOne+" discarded_at=2025-03-10T11:00 fate=WA")
	same(t, rowsOf(t, contract.Issues, bpx("PT", "F", "202503101100", nil), Options{}), "5 other: dispense_status=PT")
	for _, status := range []string{"RA", "RL"} {
		same(t, rowsOf(t, contract.Issues, bpx(status, "F", "202503101100", nil), Options{}), "5 fault: "+noDispense)
	}
	same(t, rowsOf(t, contract.Issues, btx("TX", "F", "202503101100", "202503101000", "202503101100", nil), Options{}), "5 other: transfusion_status=TX")
	for _, message := range []string{"D", "W"} {
		same(t, rowsOf(t, contract.Issues, btx("TR", message, "202503101100", "202503101000", "202503101100", nil), Options{}), "5 fault: "+noDispenseOfDeleted)
	}
	// Where the site says by which field such a message knows when it was.
	text := strings.Replace(bpx("RA", "F", "202503101100", nil), "ORC|RE|1", "ORC|RE|1|||||||||||||202503100900", 1)
	same(t, rowsOf(t, contract.Issues, text, Options{Fields: map[string]Address{"issued_at": {"ORC", 15, 1, 1}}}), "5"+issued+" returned_at=2025-03-10T11:00 fate=RA")
}

// Table 0513 in issues: the fates of bags whose dispensing the file holds.
func TestFatesFromTheBedside(t *testing.T) {
	text := bpx("DS", "F", "202503100900", nil) + btx("TX", "F", "202503101100", "202503100930", "202503101030", map[int]string{9: "200", 10: "ml"}) + btx("RA", "F", "202503101200", "", "", nil)
	same(t, rowsOf(t, contract.Issues, text, Options{}), "5"+issued,
		"10 unit_no=W000025000001 product_code=FFP transfused_ml=200 patient_id=P1 issued_at=2025-03-10T09:00 started_at=2025-03-10T09:30 ended_at=2025-03-10T10:30 fate=TX",
		"15 unit_no=W000025000001 product_code=FFP transfused_ml=200 patient_id=P1 issued_at=2025-03-10T09:00 started_at=2025-03-10T09:30 ended_at=2025-03-10T10:30 returned_at=2025-03-10T12:00 fate=RA")
}

// A bag that comes back and goes out again is two issues, each with its own fate.
func TestDispensedAgain(t *testing.T) {
	text := bpx("DS", "F", "202503100900", nil) + bpx("RL", "F", "202503101000", nil) + bpx("DS", "F", "202503101100", nil) + bpx("PT", "F", "202503101500", nil)
	same(t, rowsOf(t, contract.Issues, text, Options{}), "5"+issued, "10"+issued+" returned_at=2025-03-10T10:00 fate=RL",
		"15"+bagOne+" issued_at=2025-03-10T11:00", "20"+bagOne+" issued_at=2025-03-10T11:00 fate=PT")
	// The same message twice is not another issue, and forgets nothing.
	same(t, rowsOf(t, contract.Issues, bpx("DS", "F", "202503100900", nil)+bpx("RA", "F", "202503101000", nil)+bpx("DS", "F", "202503100900", nil), Options{}),
		"5"+issued, "10"+issued+" returned_at=2025-03-10T10:00 fate=RA", "15"+issued+" returned_at=2025-03-10T10:00 fate=RA")
}

// Table 0511: corrections replace, deletions and wrong patients take out.
func TestCorrectionsAndDeletions(t *testing.T) {
	ds := bpx("DS", "F", "202503100900", nil)
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		{"a deleted issue", ds + bpx("DS", "D", "202503100900", nil), []string{"5" + issued, "10" + issued + " status=D"}},
		{"a deleted issue, at the time of the deletion", ds + bpx("DS", "W", "202503101300", nil), []string{"5" + issued, "10" + issued + " status=D"}},
		{"a deleted issue of another file", bpx("DS", "W", "202503100900", nil), []string{"5" + issued + " status=W"}},
		{"after the deletion nothing is left", ds + bpx("DS", "D", "202503100900", nil) + bpx("RA", "F", "202503101000", nil), []string{"5" + issued, "10" + issued + " status=D", "15 fault: " + noDispense}},
		{"a corrected time: the row at the old one goes", ds + bpx("DS", "C", "202503100930", nil), []string{"5" + issued, "10" + issued + " status=D", "10" + bagOne + " issued_at=2025-03-10T09:30"}},
		{"a corrected cell", ds + bpx("DS", "C", "202503100900", map[int]string{18: "ICU"}), []string{"5" + issued, "10 unit_no=W000025000001 product_code=FFP patient_id=P1 location=ICU issued_at=2025-03-10T09:00"}},
		{"a correction of another file", bpx("DS", "C", "202503100900", nil), []string{"5" + issued}},
		{"a deleted return", ds + bpx("RA", "F", "202503101000", nil) + bpx("RA", "D", "202503101000", nil), []string{"5" + issued, "10" + issued + " returned_at=2025-03-10T10:00 fate=RA", "15" + issued}},
		{"a corrected return", ds + bpx("RA", "F", "202503101000", nil) + bpx("RA", "C", "202503101010", nil), []string{"5" + issued, "10" + issued + " returned_at=2025-03-10T10:00 fate=RA", "15" + issued + " returned_at=2025-03-10T10:10 fate=RA"}},
		{"deleted waste of stock", bpx("WA", "D", "202503101000", nil), []string{"5" + bagOne + " discarded_at=2025-03-10T10:00 fate=WA status=D"}},
		{"preliminary counts, an order's description does not", bpx("DS", "P", "202503100900", nil) + bpx("DS", "O", "202503100900", nil), []string{"5" + issued, "10 other: product_status=O"}},
	} {
		t.Run(c.name, func(t *testing.T) { same(t, rowsOf(t, contract.Issues, c.text, Options{}), c.want...) })
	}
}

// Bags of a lot without numbers of their own: each row is one of them, told
// once, at the end of the file.
func TestBagsOfALot(t *testing.T) {
	lot := func(status, message, at string, n int) string {
		return bpx(status, message, at, map[int]string{5: "", 6: "", 8: "SD", 10: "LOT9", 14: fmt.Sprint(n)})
	}
	const row = " unit_no=LOT9 product_code=SD patient_id=P1 issued_at=2025-03-10T09:00"
	same(t, rowsOf(t, contract.Issues, lot("DS", "F", "202503100900", 3)+lot("RA", "F", "202503101000", 1)+lot("WA", "F", "202503101100", 1), Options{}),
		"5"+row+" returned_at=2025-03-10T10:00 fate=RA", "5"+row+" discarded_at=2025-03-10T11:00 fate=WA", "5"+row)
	same(t, rowsOf(t, contract.Issues, lot("DS", "F", "202503100900", 2)+lot("DS", "D", "202503100900", 1), Options{}), "5"+row)
	same(t, rowsOf(t, contract.Issues, lot("DS", "F", "202503100900", 2)+lot("RA", "F", "202503101000", 1)+lot("RA", "D", "202503101000", 1), Options{}), "5"+row, "5"+row)
	same(t, rowsOf(t, contract.Issues, lot("WA", "F", "202503101100", 2), Options{}), "5 unit_no=LOT9 product_code=SD patient_id=P1 discarded_at=2025-03-10T11:00 fate=WA",
		"5 unit_no=LOT9 product_code=SD patient_id=P1 discarded_at=2025-03-10T11:00 fate=WA")
	if rows := rowsOf(t, contract.Issues, lot("DS", "F", "202503100900", 1_000_000), Options{}); len(rows) != 1 || !strings.Contains(rows[0], "fault: found over 100 bags") {
		t.Errorf("%d rows", len(rows))
	}
}

// Table 0513 in bedside: what was transfused, and nothing that was not.
func TestTransfusions(t *testing.T) {
	more := map[int]string{9: "275", 10: "ML"}
	const given = " unit_no=W000025000001 product_code=FFP patient_id=P1 started_at=2025-03-10T09:30 ended_at=2025-03-10T10:30 transfused_ml=275"
	for _, status := range []string{"TX", "TR"} {
		same(t, rowsOf(t, contract.Bedside, btx(status, "F", "202503101031", "202503100930", "202503101030", more), Options{}), "5"+given)
	}
	for _, status := range []string{"RA", "RL", "WA", "", "XX"} {
		same(t, rowsOf(t, contract.Bedside, btx(status, "F", "202503101031", "202503100930", "202503101030", more), Options{}), "5 other: transfusion_status="+status)
	}
	// No start is no start, unless the site says by which field it knows.
	same(t, rowsOf(t, contract.Bedside, btx("TX", "F", "202503100930", "", "", nil), Options{}), "5 unit_no=W000025000001 product_code=FFP patient_id=P1")
	same(t, rowsOf(t, contract.Bedside, btx("TX", "F", "202503100930", "", "", nil), Options{Fields: map[string]Address{"started_at": {"BTX", 13, 1, 1}}}), "5 unit_no=W000025000001 product_code=FFP patient_id=P1 started_at=2025-03-10T09:30")

	first := btx("TX", "F", "202503101031", "202503100930", "", nil)
	const row = " unit_no=W000025000001 product_code=FFP patient_id=P1 started_at=2025-03-10T09:30"
	same(t, rowsOf(t, contract.Bedside, first+btx("TX", "D", "202503101031", "", "", nil), Options{}), "5"+row, "10"+row+" status=D")
	same(t, rowsOf(t, contract.Bedside, btx("TX", "W", "202503101031", "202503100930", "", nil), Options{}), "5"+row+" status=W")
	same(t, rowsOf(t, contract.Bedside, first+btx("TX", "C", "202503101031", "202503100945", "", nil), Options{}), "5"+row, "10"+row+" status=D",
		"10 unit_no=W000025000001 product_code=FFP patient_id=P1 started_at=2025-03-10T09:45")
	same(t, rowsOf(t, contract.Bedside, bpx("DS", "F", "202503100900", nil), Options{}), "1 other: message=BPS^O29")
}

// Table 0514, BTX-18; NORXN says that there was none.
func TestReactions(t *testing.T) {
	row := func(code string) string { return " patient_id=P1 kind=reaction" + code + " at=2025-03-10T10:30" }
	text := btx("TR", "F", "202503101030", "", "", map[int]string{18: "VOLOVER^Symptoms most likely due to volume overload"}) + btx("TR", "F", "202503101030", "", "", nil) +
		btx("TX", "F", "202503101030", "", "", nil) + btx("TX", "F", "202503101030", "", "", map[int]string{18: "NORXN"}) + btx("TX", "D", "202503101030", "", "", map[int]string{18: "ALLERGIC1"})
	same(t, rowsOf(t, contract.Events, text, Options{}), "5"+row(" detail=VOLOVER"), "10"+row(""), "15 other: transfusion_status=TX", "20 other: transfusion_status=TX", "25"+row(" detail=ALLERGIC1")+" status=D")
	for code, word := range reactions {
		if !strings.Contains(" overload allergic febrile haemolytic other ", " "+word+" ") || code != strings.ToLower(code) {
			t.Errorf("%s=%s", code, word)
		}
	}
}

// What the site states is read for the message that tells of it: the order's
// time for the dispensing, the reason for the waste.
func TestStatedFieldsOfIssues(t *testing.T) {
	ds := strings.Replace(bpx("DS", "F", "202503100900", nil), "ORC|RE|1", "ORC|RE|1|||||||202503100845", 1)
	wa := strings.Replace(bpx("WA", "F", "202503101100", nil), "ORC|RE|1", "ORC|RE|1|||||||202503101059", 1) + "NTE|1||EXP\n"
	o := Options{Fields: map[string]Address{"requested_at": {"ORC", 9, 1, 1}, "discard_reason": {"NTE", 3, 1, 1}}}
	const row = bagOne + " issued_at=2025-03-10T09:00"
	same(t, rowsOf(t, contract.Issues, ds+wa, o), "5"+row+" requested_at=2025-03-10T08:45", "10"+row+" discarded_at=2025-03-10T11:00 fate=WA requested_at=2025-03-10T08:45 discard_reason=EXP")
}
