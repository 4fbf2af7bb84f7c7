package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thawline/internal/status"
)

// sick makes a site whose exports hold a bit of everything that can be wrong,
// hostile cells and numbers of persons in the wrong columns included, takes them
// in and returns its site.yaml.
func sick(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{
		"site.yaml":   goodSite,
		"policy.yaml": "{}\n",
		"issues1.csv": "unit_no,product_code,patient_id,issued_at,fate,indication,unit_abo\n" +
			"SECRETU1,F,SECRET1,2025-03-10T10:00Z,gone,bleeding,A\n" +
			"SECRETU2,=cmd(),SECRET1,2025-03-10T10:00Z,transfused,bleeding,A\n" +
			"SECRETU3,F,SECRET2,31/03/2025,transfused,SECRET3 seen by her doctor,A\n" +
			",F,SECRET2,2025-03-10T10:00Z,transfused,,SECRET4 90817263\n",
		"issues2.csv": "unit_no,product_code,patient_id,issued_at\n,F,SECRET2,2025-03-10T10:00Z\nSECRETU4,F\n",
		"labs1.csv": "Patient,Test,Result,Taken,unit_raw\n" +
			"SECRET1,INR,2.1,10/03/2025 09:00,furlong\n" +
			"SECRET1,INR,99,10/03/2025 10:00,\nSECRET1,@SUM,7,10/03/2025 09:00,mg\n",
	} {
		if name == "site.yaml" {
			text = strings.Replace(text, "value_raw: Result", "value_raw: Result, unit_raw: unit_raw", 1)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	site := filepath.Join(dir, "site.yaml")
	var out, errOut bytes.Buffer
	if code := run(context.Background(), []string{"ingest", "--site", site}, &out, &errOut); code != exitIncomplete {
		t.Fatalf("ingest: exit %d\n%s", code, errOut.String())
	}
	return site
}

func TestProblemsInEveryForm(t *testing.T) {
	site := sick(t)
	text := strings.Join(strings.Fields(ask(t, "problems", "--site", site)), " ")
	for _, want := range []string{
		"rejected 2 issues.unit_no", "first issues1.csv:5, issues2.csv:2",
		"2 cells, the header has 4", "first issues2.csv:3",
		"no date and time in a form of ISO 8601", "first issues1.csv:4",
		`set aside 1 issues.product_code code "=cmd()" is in no map`, "under products: in site.yaml",
		`code "@SUM" is in no map (in mg)`,
		"suspect 1 labs.value", "first labs1.csv:3",
		"dropped 1 labs.unit_raw", "first labs1.csv:2; written: furlong",
		`unmapped 1 issues.fate code "gone" is in no map`,
		"rare and may name a person", "next: ",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("problems does not say %q:\n%s", want, text)
		}
	}
	var list []status.Problem
	if err := json.Unmarshal([]byte(ask(t, "problems", "--site", site, "--format", "json")), &list); err != nil {
		t.Fatal(err)
	}
	sheet := ask(t, "problems", "--site", site, "--format", "csv")
	rows, err := csv.NewReader(strings.NewReader(sheet)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(list) != len(rows)-1 || len(list) < 8 {
		t.Errorf("%d problems as JSON, %d as CSV", len(list), len(rows)-1)
	}
	for _, p := range list {
		if p.Next == "" || len(p.First) == 0 || p.Rows == 0 || p.Files == 0 {
			t.Errorf("a problem without next step, place or count: %+v", p)
		}
	}
	// A spreadsheet runs a cell that begins with one of these signs (OWASP, CSV
	// injection).
	for _, row := range rows {
		for _, cell := range row {
			if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
				t.Errorf("a spreadsheet would run the cell %q", cell)
			}
		}
	}
	for _, secret := range []string{"SECRET", "90817263", "her doctor"} {
		if strings.Contains(text+sheet, secret) {
			t.Errorf("%q is shown", secret)
		}
	}
}

// What a spreadsheet would run is text in it: each sign that OWASP names for
// CSV injection.
func TestFormulasBecomeText(t *testing.T) {
	for _, cell := range []string{"=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"} {
		if got := harmless(cell); got != "'"+cell {
			t.Errorf("%q becomes %q", cell, got)
		}
	}
	for _, cell := range []string{"", "a=b", " =1", "7"} {
		if got := harmless(cell); got != cell {
			t.Errorf("%q becomes %q", cell, got)
		}
	}
}

func TestProblemsFiltered(t *testing.T) {
	site := sick(t)
	count := func(args ...string) int {
		var list []status.Problem
		if err := json.Unmarshal([]byte(ask(t, append([]string{"problems", "--site", site, "--format", "json"}, args...)...)), &list); err != nil {
			t.Fatal(err)
		}
		return len(list)
	}
	all := count()
	if labs, issues := count("--table", "labs"), count("--table", "issues"); labs+issues != all || labs != 3 {
		t.Errorf("%d of labs and %d of issues, %d in all", labs, issues, all)
	}
	if n := count("--file", "issues2.csv"); n != 2 {
		t.Errorf("%d kinds of problem in issues2.csv, want 2", n)
	}
	if n := count("--file", "issues?.csv", "--severity", "set-aside", "--severity", "suspect"); n != 1 {
		t.Errorf("%d set aside or suspect in issues, want 1", n)
	}
	for _, wrong := range [][]string{{"--table", "lab"}, {"--severity", "bad"}, {"--file", "["}, {"--file", "none.csv"}} {
		var out, errOut bytes.Buffer
		if code := run(context.Background(), append([]string{"problems", "--site", site}, wrong...), &out, &errOut); code != exitWrong {
			t.Errorf("%v: exit %d, want %d\n%s", wrong, code, exitWrong, errOut.String())
		}
	}
}
