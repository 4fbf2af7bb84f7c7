package xlsx

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Workbooks that other writers made (testdata/make.js, testdata/make.py): what
// was given to them is what is read.
func TestOtherWriters(t *testing.T) {
	issues := []string{
		"5:G123426000001|PLA1|1234567890123|2026-10-01T10:15:00|2026-10-02|275|true|Bleeding",
		"6:G123426000002|PLA1|H0000002|2026-10-25T01:30:00|2026-10-26|274.9|false|Pre-op",
		"9:G123426000003|PLA1|H0000002|2026-10-31T23:59:59||275|true|#N/A",
		"10:G123426000004|PLA1|H0000004|2026-10-31T23:59:59.250||3.3000000000000003||a \"quoted\", text\nof two lines <&>",
	}
	for _, c := range []struct {
		file, sheet, header string
		rows                []string
		notes               int
	}{
		{"exceljs.xlsx", "", "DonationNo|Prod|HospNo|IssueTime|Expires|Volume|Checked|Reason", issues, 0},
		{"exceljs-1904.xlsx", "issues", "DonationNo|Prod|HospNo|IssueTime|Expires|Volume|Checked|Reason", issues, 0},
		{"exceljs.xlsx", "Codes", "Code|Means", []string{"2:PLA1|fresh frozen plasma"}, 0},
		{"openpyxl.xlsx", "1", "HospNo|TestCode|Result|Units|Collected|Day", []string{
			"2:H0000001|INR|1.4||2026-10-01T10:15:00|2026-10-01",
			"3:H0000002|FIBC|<0.5|g/L|2026-03-29T02:30:15|2026-03-29",
			"4:7|INR|#CALC!||1900-02-28T12:00:00|1900-03-01",
			"5:H0000004|INR|0.0000001||10:15:00|",
			"6:|FIBC|true|||",
		}, 2},
	} {
		content, err := os.ReadFile(filepath.Join("testdata", c.file))
		if err != nil {
			t.Fatal(err)
		}
		header, rows, notes, err := read(content, c.sheet)
		if err != nil || header != c.header || strings.Join(rows, "\n") != strings.Join(c.rows, "\n") || len(notes) != c.notes {
			t.Errorf("%s: %q\n%s\n%q %v", c.file, header, strings.Join(rows, "\n"), notes, err)
		}
	}
}

// Every cell of every sheet of the workbooks that come with Debian's xlsx2csv
// (GPL-2+, read here alone), and of those in testdata, is what another reader
// (Debian's python3-openpyxl, MIT) finds in it.
func TestOtherReader(t *testing.T) {
	const python, samples = "/usr/bin/python3", "/usr/share/doc/xlsx2csv/examples/test/*.xls[xm]"
	files, err := filepath.Glob(samples)
	if err != nil {
		t.Fatal(err)
	}
	if exec.Command(python, "-c", "import openpyxl").Run() != nil || len(files) == 0 {
		t.Skip("needs another reader and its samples: make outside, or apt-get install xlsx2csv python3-openpyxl")
	}
	own, err := filepath.Glob("testdata/*.xlsx")
	if err != nil || len(own) != 3 {
		t.Fatal(own, err)
	}
	cells := 0
	out, err := exec.Command(python, append(append([]string{"testdata/outside.py"}, files...), own...)...).Output()
	if err != nil {
		t.Fatal(err)
	}
	decoder := json.NewDecoder(bytes.NewReader(out))
	for decoder.More() {
		var want struct {
			File, Sheet string
			Rows        []string
		}
		if err := decoder.Decode(&want); err != nil {
			t.Fatal(err)
		}
		content, err := os.ReadFile(want.File)
		if err != nil {
			t.Fatal(err)
		}
		header, rows, _, err := read(content, want.Sheet)
		if err != nil {
			t.Fatalf("%s, %s: %v", want.File, want.Sheet, err)
		}
		var got []string
		if header != "" {
			got = append(got, header)
		}
		for _, row := range rows {
			// The other reader knows no formula without a result.
			_, text, _ := strings.Cut(strings.ReplaceAll(row, noResult, ""), ":")
			got = append(got, text)
		}
		if len(want.Rows) > 0 {
			// The header's cells are trimmed.
			names := strings.Split(want.Rows[0], "|")
			for i := range names {
				names[i] = strings.TrimSpace(names[i])
			}
			want.Rows[0] = strings.Join(names, "|")
		}
		if strings.Join(got, "\n") != strings.Join(want.Rows, "\n") {
			t.Errorf("%s, %s:\n%s\nthe other reader has\n%s", want.File, want.Sheet, strings.Join(got, "\n"), strings.Join(want.Rows, "\n"))
		}
		cells += strings.Count(strings.Join(got, "|"), "|")
	}
	if cells < 500 {
		t.Errorf("%d cells compared, wanted hundreds", cells)
	}
}
