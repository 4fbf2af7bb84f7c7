package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestNoCodeNamesAPerson maps the columns of patients (all invented) to columns
// of codes, by the mistakes that are made: nobody's number or name comes out,
// whichever command is asked, and the committee's pages show none.
func TestNoCodeNamesAPerson(t *testing.T) {
	dir := t.TempDir()
	site := filepath.Join(dir, "site.yaml")
	var swapped, free, units strings.Builder
	swapped.WriteString("unit_no,product_code,patient_id,issued_at\n")
	free.WriteString("unit_no,product_code,patient_id,issued_at,indication_raw,fate\n")
	units.WriteString(labsHeader)
	for i := range 60 {
		for _, bag := range "ab" {
			fmt.Fprintf(&swapped, "S%d%c,RT4%03d,F,2026-03-01T10:00\n", i, bag, i)
		}
	}
	for i := range 12 {
		fmt.Fprintf(&free, "G%d,943 476 59%02d,F,2026-03-01T10:00,,\n", i, i)
		fmt.Fprintf(&free, "U%d,F,P%d,2026-03-01T10:00,Murphy Jane %c,12/03/19%02d\n", i, i, 'A'+i, 50+i)
		fmt.Fprintf(&units, "P%d,K,4.1,47112%02d,2026-03-01T10:00\n", i, i)
	}
	files := map[string]string{"swapped.csv": swapped.String(), "free.csv": free.String(), "labs.csv": units.String(), "site.yaml": `hospital: Nowhere General (invented)
time_zone: Europe/Dublin
store: store
feeds:
  - {table: issues, files: swapped.csv}
  - {table: issues, files: free.csv}
  - {table: labs, files: labs.csv}
products:
  F: {component: plasma, product: fresh_frozen, nominal_ml: 275}
`}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	person := regexp.MustCompile(`RT4\d\d\d|943 476 59|Murphy|12/03/19|47112`)
	for _, args := range [][]string{
		{"inspect"}, {"inspect", "--json"}, {"ingest"}, {"ingest", "--json"}, {"problems", "--all"}, {"problems", "--format", "json"}, {"problems", "--format", "csv"},
		{"problems", "--all", "--file", "free.csv"}, {"status"}, {"audit", "--period", "2026-03"},
	} {
		var out, errOut bytes.Buffer
		run(context.Background(), append(args, "--site", site), &out, &errOut)
		if said := out.String() + errOut.String(); person.MatchString(said) || !strings.Contains(said, "issues") && !strings.Contains(said, "2026-03") {
			t.Errorf("%v says\n%s", args, said)
		}
	}
	page := readFile(t, filepath.Join(dir, "store/packs/2026-03/committee.html"))
	if found := person.FindString(page); found != "" {
		t.Errorf("the committee's page shows %s", found)
	}
	if !strings.Contains(page, "product codes that are not shown are in no product map: 132 rows") {
		t.Error("the committee's page does not say how many product codes are in no map")
	}
}
