package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const goodSite = `hospital: Nowhere General (invented)
time_zone: Europe/Dublin
store: store
policy: policy.yaml
feeds:
  - table: issues
    files: issues*.csv
  - table: labs
    files: labs*.csv
    time_format: 02/01/2006 15:04
    columns: {patient_id: Patient, test: Test, value_raw: Result, collected_at: Taken}
    test: {INR: inr}
products:
  F: {component: plasma, product: fresh_frozen, nominal_ml: 275}
`

const (
	goodIssues = "unit_no,product_code,patient_id,issued_at\nU1,F,SECRET1,2025-03-10T10:00Z\n"
	goodLabs   = "Patient,Test,Result,Taken\nSECRET1,INR,2.1,10/03/2025 09:00\n"
)

// TestBadInput damages one thing at a time in a folder whose store is filled:
// each damage gives one error with its place and the next step, the exit code
// of the table, no identifier, and leaves the store as it was.
func TestBadInput(t *testing.T) {
	for _, c := range []struct {
		name string
		file string // written over, or new
		text string
		verb string
		code exitCode
		says []string
	}{
		{"a missing required column", "issues2.csv", "unit_no,patient_id,issued_at\nU2,SECRET2,2025-03-11T10:00Z\n", "ingest", exitFailed, []string{"issues2.csv", "product_code", "site.yaml"}},
		{"a file of another kind", "labs2.csv", "PK\x03\x04 not text", "ingest", exitFailed, []string{"labs2.csv", "XLSX", "damaged", "export it again"}},
		{"another kind under the same name", "issues2.csv", "%PDF-1.7\n", "ingest", exitFailed, []string{"issues2.csv", "PDF"}},
		{"an unterminated quote", "issues2.csv", "unit_no,product_code,patient_id,issued_at\nU2,F,\"SECRET2,2025-03-11T10:00Z\n", "ingest", exitFailed, []string{"issues2.csv", "2", "quote"}},
		{"an unknown key in site.yaml", "site.yaml", strings.Replace(goodSite, "store:", "stores:", 1), "ingest", exitWrong, []string{"site.yaml:3:1", "stores", "store"}},
		{"a zone that is none", "site.yaml", strings.Replace(goodSite, "Europe/Dublin", "Europe/Dubblin", 1), "ingest", exitWrong, []string{"site.yaml:2", "Dubblin"}},
		{"an unknown value in policy.yaml", "policy.yaml", "over_bleedin: 1.8\n", "mark", exitWrong, []string{"policy.yaml:1:1", "over_bleeding"}},
		{"a value out of range", "policy.yaml", "over_bleeding: 18\n", "mark", exitWrong, []string{"policy.yaml:1", "over_bleeding"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			site := filepath.Join(dir, "site.yaml")
			for name, text := range map[string]string{"site.yaml": goodSite, "policy.yaml": "{}\n", "issues1.csv": goodIssues, "labs1.csv": goodLabs} {
				os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600)
			}
			ask(t, "ingest", "--site", site)
			ask(t, "mark", "--site", site)
			before := hashes(t, filepath.Join(dir, "store"))
			os.WriteFile(filepath.Join(dir, c.file), []byte(c.text), 0o600)
			var out, errOut bytes.Buffer
			if code := run(context.Background(), []string{c.verb, "--site", site}, &out, &errOut); code != c.code {
				t.Errorf("exit %d, want %d", code, c.code)
			}
			said := out.String() + errOut.String()
			for _, want := range c.says {
				if !strings.Contains(said, want) {
					t.Errorf("the error does not say %q:\n%s", want, said)
				}
			}
			if strings.Contains(said, "SECRET") {
				t.Errorf("the error names a patient:\n%s", said)
			}
			if diff := cmp.Diff(before, hashes(t, filepath.Join(dir, "store"))); diff != "" {
				t.Errorf("the store changed:\n%s", diff)
			}
		})
	}
}

// TestTimeAgainstItsFormat: a time that contradicts the stated format rejects
// its row, with place and column, and the file's other rows are taken.
func TestTimeAgainstItsFormat(t *testing.T) {
	dir := t.TempDir()
	site := filepath.Join(dir, "site.yaml")
	for name, text := range map[string]string{"site.yaml": goodSite, "policy.yaml": "{}\n", "issues1.csv": goodIssues, "labs1.csv": goodLabs + "SECRET1,INR,2.2,03/31/2025 09:00\n"} {
		os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600)
	}
	ask(t, "ingest", "--site", site)
	rows := table(t, site, `SELECT source_file, source_row, "column", severity FROM problems`)
	want := []map[string]string{{"source_file": "labs1.csv", "source_row": "3", "column": "collected_at", "severity": "rejected"}}
	if diff := cmp.Diff(want, rows); diff != "" {
		t.Error(diff)
	}
	if n := table(t, site, "SELECT count(*) AS n FROM labs"); n[0]["n"] != "1" {
		t.Errorf("%s labs, want 1", n[0]["n"])
	}
}

// TestUnreadableFile: a file that vanishes or may not be read is one error.
func TestUnreadableFile(t *testing.T) {
	dir := t.TempDir()
	site := filepath.Join(dir, "site.yaml")
	for name, text := range map[string]string{"site.yaml": goodSite, "policy.yaml": "{}\n", "issues1.csv": goodIssues, "labs1.csv": goodLabs} {
		os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600)
	}
	if err := os.Symlink(filepath.Join(dir, "gone"), filepath.Join(dir, "issues2.csv")); err != nil {
		t.Fatal(err)
	}
	var out, errOut bytes.Buffer
	if code := run(context.Background(), []string{"ingest", "--site", site}, &out, &errOut); code != exitFailed || !strings.Contains(errOut.String(), "issues2.csv") {
		t.Errorf("exit %d\n%s", code, errOut.String())
	}
	if n := table(t, site, "SELECT count(*) AS n FROM issues"); n[0]["n"] != "1" {
		t.Errorf("%s issues, want 1: the other files are taken", n[0]["n"])
	}
}

// TestHelpTellsTheExitCodes holds help and README against the one table.
func TestHelpTellsTheExitCodes(t *testing.T) {
	help := ask(t, "--help")
	readme := readFile(t, "../../README.md")
	for _, e := range exitCodes {
		if !strings.Contains(strings.Join(strings.Fields(help), " "), e.Means) {
			t.Errorf("help does not say: %s", e.Means)
		}
		if !strings.Contains(readme, "| "+e.Means+" |") {
			t.Errorf("README does not say: %s", e.Means)
		}
	}
	if !strings.Contains(help, "prompt for review") {
		t.Error("help does not hold the cautions")
	}
}
