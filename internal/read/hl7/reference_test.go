package hl7

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/contract"
)

// TestAnotherParser: the invented month of cmd/thawline, taken apart by another
// parser of HL7 (npm @medplum/core 4.5.2) with another person's code, gives the
// same cells at the same places. make test-reference writes the month, says
// where it is, and runs this.
func TestAnotherParser(t *testing.T) {
	dir := os.Getenv("THAWLINE_REFERENCE")
	if dir == "" {
		t.Skip("make test-reference runs it")
	}
	for _, c := range []struct {
		file  string
		table *contract.Table
		names []string
		// of takes those of the other parser's cells that a row has too.
		of []int
	}{
		{"lis.hl7", contract.Labs, []string{"patient_id", "test", "value_raw", "unit_raw", "status"}, []int{1, 2, 3, 4, 5}},
		{"ward.hl7", contract.Bedside, []string{"patient_id", "unit_no", "product_code", "started_at", "ended_at", "transfused_ml"}, []int{1, 2, 3, 5, 6, 7}},
		{"bank.hl7", contract.Issues, []string{"patient_id", "unit_no", "product_code"}, []int{1, 2, 3}},
	} {
		path := filepath.Join(dir, c.file)
		out, err := exec.Command("node", "../../../testdata/reference/messages.js", path).Output()
		if err != nil {
			t.Fatal(err)
		}
		var want []string
		for _, line := range strings.Split(strings.TrimRight(string(out), "\n"), "\n") {
			f := strings.Split(line, "\t")
			text := f[0]
			for i, n := range c.of {
				if n < len(f) && f[n] != "" {
					value := f[n]
					if strings.HasSuffix(c.names[i], "_at") {
						value = string((&message{}).iso([]byte(value), false))
					}
					text += " " + c.names[i] + "=" + value
				}
			}
			want = append(want, text)
		}
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := readFrom(c.table, bytes.NewReader(text), Options{})
		if err != nil || len(rows) < 2 {
			t.Fatal(len(rows), err)
		}
		var got []string
		for _, row := range rows {
			place, rest, _ := strings.Cut(row, " ")
			for _, name := range c.names {
				for _, cell := range strings.Split(rest, " ") {
					if strings.HasPrefix(cell, name+"=") {
						place += " " + cell
					}
				}
			}
			got = append(got, place)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-the other parser +this one):\n%s", c.file, diff)
		}
	}
}
