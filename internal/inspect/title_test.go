package inspect

import (
	"context"
	"os"
	"strings"
	"testing"
)

// A title above the header is seen for what it is, in text of any encoding; a
// header without one, however short, is not.
func TestTitleAboveTheHeader(t *testing.T) {
	rows := strings.Repeat("P1;INR;1,2;;13.04.2026 14:10\n", 6)
	header := "Patienten-ID;Untersuchung;Ergebnis;Einheit;Entnahmezeit\n"
	for _, c := range []struct {
		text     string
		row      int64
		encoding string
	}{
		{header + rows, 0, ""},
		{"Laborexport Oktober 2026\n\n" + header + rows, 3, ""},
		{"Laborexport Oktober;;;;\n" + header + rows, 2, ""},
		{"Klinikum, Labor; Stand 01.11.2026\n" + header + rows, 2, ""},
		{"Werte\n" + strings.Replace(header, "Ergebnis", "Ergebni\xdf", 1) + rows, 2, "windows-1252"},
		{"\xdcbersicht\n\nStation 4\n" + header + rows, 4, "windows-1252"},
		{"\xdcbersicht;;;;\n" + header + rows, 2, "windows-1252"},
		{header + "\n" + rows, 0, ""},
	} {
		found := look(t, "labor.csv", c.text)
		if len(found.Feeds) != 1 {
			t.Errorf("%q: %s", c.text, everything(found))
			continue
		}
		f := found.Feeds[0]
		if f.HeaderRow != c.row || f.Encoding != c.encoding || f.Table != "labs" {
			t.Errorf("%q: row %d, encoding %q, table %q; want row %d, %q", c.text, f.HeaderRow, f.Encoding, f.Table, c.row, c.encoding)
		}
		if c.row > 0 {
			wantAll(t, everything(found), "header_row: ", "looks like a title")
		}
	}
	// Two columns, and names alone: no title.
	if f := look(t, "merged.csv", "alias;patient_id\n"+strings.Repeat("E100001;P200001\n", 6)).Feeds[0]; f.HeaderRow != 0 || f.Table != "aliases" {
		t.Errorf("%+v", f)
	}
}

// The same in a workbook, where every row is as wide as its header.
func TestTitleInAWorkbook(t *testing.T) {
	text, err := os.ReadFile("testdata/title.xlsx")
	if err != nil {
		t.Fatal(err)
	}
	found, err := Files(context.Background(), write(t, "labor.xlsx", string(text)), Options{})
	if err != nil || len(found.Feeds) != 1 || found.Feeds[0].HeaderRow != 3 || found.Feeds[0].Table != "labs" {
		t.Errorf("%v %+v", err, found)
	}
}
