package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// faultySite reads aliases, and one file of messages by two feeds.
const faultySite = `hospital: Nowhere General (invented)
time_zone: Europe/Dublin
store: store
feeds:
  - {table: issues, files: issues*}
  - {table: labs, files: labs*, test: {INR: inr}}
  - {table: aliases, files: aliases*}
  - {table: labs, files: both.hl7, test: {INR: inr}}
  - {table: patients, files: both.hl7}
products:
  F: {component: plasma, product: fresh_frozen, nominal_ml: 275}
`

// TestAFaultHidesNoOther: what is wrong with files is said although current
// cannot be made, and each says what to do.
func TestAFaultHidesNoOther(t *testing.T) {
	d := newDesk(t)
	d.put("site.yaml", faultySite)
	d.put("labs1.csv", "patient_id,test,value_raw,collected_at\nP1,INR,1.4,2026-01-05T10:00\n")
	d.put("aliases.csv", "alias,patient_id\nA1,B1\nB1,A1\n")
	d.put("issues2.csv", "unit_no,product_code,patient_id,issued_at\nU2,F,P1,\"2026-01-05T10:00\n")
	if err := os.Symlink("nowhere", filepath.Join(d.dir, "labs_link.csv")); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(d.dir, "labs_old"), 0o750); err != nil {
		t.Fatal(err)
	}
	contains(t, d.says(exitFailed, "ingest"), "issues2.csv:2: a quote opens", "aliases lead back to themselves", "labs_link.csv: found a link that leads nowhere, wanted a file: mend", "labs_old: found a folder, wanted a file: move it")
}

// TestWithdrawWhole: a file that two feeds read goes whole by its name.
func TestWithdrawWhole(t *testing.T) {
	d := newDesk(t)
	d.put("site.yaml", faultySite)
	d.put("labs1.csv", "patient_id,test,value_raw,collected_at\nP1,INR,1.4,2026-01-05T10:00\n")
	d.put("both.hl7", strings.Join([]string{`MSH|^~\&|L||||20260105||ORU^R01|1|P|2.5.1`, "PID|||P1||N||19500102|F", "OBR|1|||C|||202601050800", "OBX|1|NM|INR||1.1||||||F", ""}, "\r"))
	d.says(exitDone, "ingest")
	text := d.says(exitDone, "withdraw", "both.hl7")
	contains(t, text, "both.hl7 (labs, ", "both.hl7 (patients, ")
	if left := d.says(exitDone, "status", "--files"); strings.Contains(left, "both.hl7") && !strings.Contains(left, "withdrawn") {
		t.Errorf("something is left:\n%s", left)
	}
	contains(t, d.says(exitDone, "withdraw", "--forget", "both.hl7"), "lifted")
}

// TestNamesDoNotSteerTheTerminal: a file's name may hold what a terminal obeys.
func TestNamesDoNotSteerTheTerminal(t *testing.T) {
	d := newDesk(t)
	d.put("labs\x1b[2J\x07.csv", goodLabs+"SECRET1,INR,2.2,11/03/2025 09:00\n")
	if text := d.says(exitDone, "ingest"); strings.ContainsAny(text, "\x1b\x07") || !strings.Contains(text, "labs\ufffd[2J\ufffd.csv: 2 rows read") {
		t.Errorf("%q", text)
	}
	contains(t, d.says(exitWrong, "query", "DELETE FROM issues"), "wanted one SELECT")
}
