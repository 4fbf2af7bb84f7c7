package hl7

import (
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thawline/internal/contract"
)

// dictionary reads testdata/hl7.tsv, which two dictionaries of HL7 version 2
// have made (testdata/reference/hl7.js; make test-reference makes it anew).
func dictionary(t *testing.T) (fields, codes [][]string) {
	t.Helper()
	text, err := os.ReadFile("testdata/hl7.tsv")
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(strings.TrimSpace(string(text)), "\n") {
		switch f := strings.Split(line, "\t"); f[0] {
		case "field":
			fields = append(fields, f)
		case "code":
			codes = append(codes, f)
		}
	}
	return fields, codes
}

// By the dictionaries' own names of fields: what stands in one comes out in the
// column that means it, and in no other.
func TestFieldsByTheirPublishedNames(t *testing.T) {
	// text stands in the field, and want comes out of it.
	type meaning struct{ table, text, want string }
	means := map[string]meaning{
		"PID Patient Identifier List": {"labs", "X1", "patient_id=X1"}, "PID Date/Time of Birth": {"patients", "19500102", "birth_date=1950-01-02"}, "PID Administrative Sex": {"patients", "F", "sex=F"},
		"PV1 Assigned Patient Location": {"issues", "X1", "location=X1"}, "PV1 Hospital Service": {"issues", "X1", "specialty=X1"}, "ORC Ordering Provider": {"issues", "X1", "requester=X1"}, "BPO BP Indication for Use": {"issues", "X1", "indication=X1 indication_raw=X1"},
		"OBR Observation Date/Time": {"labs", "20250310", "collected_at=2025-03-10"}, "OBR Results Rpt/Status Chng - Date/Time": {"labs", "20250310", "resulted_at=2025-03-10"}, "SPM Specimen Collection Date/Time": {"labs", "20250310", "collected_at=2025-03-10"},
		"OBX Observation Identifier": {"labs", "X1", "test=X1"}, "OBX Observation Value": {"labs", "X1", "value_raw=X1"}, "OBX Units": {"labs", "X1", "unit_raw=X1"}, "OBX Interpretation Codes": {"labs", "<", "bound=<"}, "OBX Observation Result Status": {"labs", "F", "status=F"},
		"OBX Date/Time of the Observation": {"labs", "20250310", "collected_at=2025-03-10"}, "OBX Date/Time of the Analysis": {"labs", "20250310", "resulted_at=2025-03-10"}, "OBX Observation Instance Identifier": {"labs", "X1", "result_id=X1"},
		"BPX BP Date/Time of Status": {"issues", "20250310", "issued_at=2025-03-10"}, "BPX BC Donation ID": {"issues", "X1", "unit_no=X1"}, "BPX BC Component": {"issues", "X1", "product_code=X1"}, "BPX CP Commercial Product": {"issues", "X1", "product_code=X1"},
		"BPX CP Lot Number": {"issues", "X1", "unit_no=X1"}, "BPX BP Blood Group": {"issues", "A", "unit_abo=A"}, "BPX BP Expiration Date/Time": {"issues", "20250310", "expires_at=2025-03-10"}, "BPX BP Amount": {"issues", "275", "volume_ml=275 (no unit)"},
		"BPX BP Unique ID": {"issues", "X1", "bag_no=X1"}, "BPX BP Actual Dispensed To Location": {"issues", "X1", "location=X1"},
		"BTX BC Donation ID": {"bedside", "X1", "unit_no=X1"}, "BTX BC Component": {"bedside", "X1", "product_code=X1"}, "BTX CP Commercial Product": {"bedside", "X1", "product_code=X1"}, "BTX CP Lot Number": {"bedside", "X1", "unit_no=X1"},
		"BTX BP Amount": {"bedside", "275", "transfused_ml=275 (no unit)"}, "BTX BP Transfusion Start Date/Time of Status": {"bedside", "20250310", "started_at=2025-03-10"}, "BTX BP Transfusion End Date/Time of Status": {"bedside", "20250310", "ended_at=2025-03-10"},
		"BTX BP Adverse Reaction Type": {"events", "VOLOVER", "kind=reaction detail=VOLOVER"}, "BTX BP Date/Time of Status": {"events", "20250310", "kind=reaction at=2025-03-10"},
	}
	// Those that these tests ask about elsewhere, since they decide more than a cell.
	elsewhere := []string{"MSH Date/Time of Message", "MSH Message Type", "MSH Character Set", "OBX Value Type", "BHS Batch Field Separator", "BHS Batch Encoding Characters", "BTS Batch Message Count", "FTS File Batch Count",
		"BPX BP Dispense Status", "BPX BP Status", "BPX BP Quantity", "BPX BP Units", "BTX BC Blood Group", "BTX BP Quantity", "BTX BP Units", "BTX BP Transfusion/Disposition Status", "BTX BP Message Status"}
	known, _ := dictionary(t)
	asked := 0
	for _, f := range known {
		segment, name := f[1], strings.TrimRight(f[4], " #+")
		m, there := means[segment+" "+name]
		if !there {
			if !slices.Contains(elsewhere, segment+" "+name) {
				t.Errorf("%s-%s %s: nobody asks where it goes", segment, f[2], name)
			}
			continue
		}
		asked++
		number, err := strconv.Atoi(f[2])
		if err != nil {
			t.Fatal(err)
		}
		make := func(name string, of map[int]string) string {
			if name == segment {
				of[number] = m.text
			}
			return fields(name, 26, of)
		}
		text := map[string]string{
			"labs":     header + "\n" + make("PID", map[int]string{}) + make("OBR", map[int]string{}) + make("OBX", map[int]string{2: "ST"}) + make("SPM", map[int]string{}),
			"patients": header + "\n" + make("PID", map[int]string{}),
			"issues":   bps + "\n" + make("PID", map[int]string{}) + make("PV1", map[int]string{}) + make("ORC", map[int]string{}) + make("BPO", map[int]string{}) + make("BPX", map[int]string{2: "DS", 14: "1"}),
			"bedside":  bts + "\n" + make("PID", map[int]string{}) + make("BTX", map[int]string{11: "TX"}),
			"events":   bts + "\n" + make("PID", map[int]string{}) + make("BTX", map[int]string{11: "TR"}),
		}[m.table]
		rows := rowsOf(t, contract.Find(m.table), text, Options{})
		if len(rows) != 1 || strings.SplitN(rows[0], " ", 2)[1] != m.want {
			t.Errorf("%s-%s %s: %q, want %s", segment, f[2], name, rows, m.want)
		}
	}
	if asked != len(means) {
		t.Errorf("%d fields asked about, the dictionaries name %d", len(means), asked)
	}
}

// Every code of the published tables has a meaning here, or is known to have none.
func TestCodesOfThePublishedTables(t *testing.T) {
	none := map[string][]string{
		"0001": {"F", "M", "U", "N"},                       // The contract's own, and none.
		"0085": {"N", "O"},                                 // No results: hasNoResult.
		"0510": {"CR", "DS", "RD", "RE", "RI", "RQ", "RS"}, // The issue itself, and what is none.
		"0511": {"C", "F", "O", "P"},                       // Corrections and states of what stays.
		"0514": {"NORXN"},                                  // No reaction.
	}
	maps := map[string]map[string]string{"0001": sexes, "0085": observationStatus, "0510": fates, "0511": productStatus, "0513": fates, "0514": reactions}
	_, codes := dictionary(t)
	if len(codes) < 50 {
		t.Fatalf("%d codes", len(codes))
	}
	for _, c := range codes {
		_, mapped := maps[c[1]][strings.ToLower(c[2])]
		if mapped == slices.Contains(none[c[1]], c[2]) {
			t.Errorf("table %s, %s: mapped %v", c[1], c[2], mapped)
		}
	}
}
