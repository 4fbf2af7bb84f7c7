package read

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thawline/internal/read/source"
)

// rowsOf opens content under name and returns what it is and its rows, each as
// place:cell|cell.
func rowsOf(t *testing.T, name string, content []byte, o Options) (Look, []string, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := Open(path, o)
	if err != nil {
		return Look{}, nil, err
	}
	defer f.Close()
	var rows []string
	for stretch, err := range f.Stretches() {
		if err != nil {
			return f.Look, rows, err
		}
		err := stretch.Rows(func(row Row) bool {
			var texts []string
			for _, c := range row.Cells {
				texts = append(texts, string(c))
			}
			rows = append(rows, fmt.Sprintf("%d:%s", row.Place, strings.Join(texts, "|")+row.Fault+row.Other))
			return true
		})
		stretch.Release()
		if err != nil {
			return f.Look, rows, err
		}
	}
	return f.Look, rows, nil
}

// What a file holds decides, not what it is called; the place is the line of the
// text, however it was encoded.
func TestOpen(t *testing.T) {
	for _, c := range []struct {
		name, content string
		options       Options
		look          Look
		rows          string
	}{
		{"a.csv", "h1,h2\na,b\n", Options{}, Look{Format: Delimited, Encoding: "utf-8", Delimiter: ',', Names: []string{"h1", "h2"}}, "2:a|b"},
		{"a.xlsx", "h1;h2\n\na;\"b\nc\"\nd;e\n", Options{}, Look{Format: Delimited, Encoding: "utf-8", Delimiter: ';', Names: []string{"h1", "h2"}}, "3:a|b\nc 5:d|e"},
		{"a.csv", "\xff\xfeh\x001\x00\r\x00\n\x00\xfc\x00\r\x00\n\x00", Options{}, Look{Format: Delimited, Encoding: "utf-16le", Marked: true, Delimiter: ',', Names: []string{"h1"}}, "2:ü"},
		{"a.csv", "h1|h2\n\xfc|\x80\n", Options{Encoding: "windows-1252"}, Look{Format: Delimited, Encoding: "windows-1252", Delimiter: '|', Names: []string{"h1", "h2"}}, "2:ü|€"},
		{"a.csv", "h1,h2;h3\na;b\n", Options{Delimiter: ';'}, Look{Format: Delimited, Encoding: "utf-8", Delimiter: ';', Names: []string{"h1,h2", "h3"}}, "2:a|b"},
		{"a.csv", "", Options{}, Look{Format: Delimited, Encoding: "utf-8", Delimiter: 0}, ""},
	} {
		look, rows, err := rowsOf(t, c.name, []byte(c.content), c.options)
		if err != nil || fmt.Sprint(look) != fmt.Sprint(c.look) || strings.Join(look.Names, "|") != strings.Join(c.look.Names, "|") || strings.Join(rows, " ") != c.rows {
			t.Errorf("%q: %+v %q %v; want %+v %q", c.content, look, rows, err, c.look, c.rows)
		}
	}
}

// A fault in the middle of a file has the line on which it stands.
func TestPlaceOfAFault(t *testing.T) {
	lines := strings.Repeat("a;b\n", 100_000)
	for _, c := range []struct {
		content string
		options Options
		place   int64
	}{
		{"h1;h2\n" + lines + "\x81;b\n", Options{Encoding: "windows-1252"}, 100_002},
		{"h1;h2\n" + lines + "\xfc;b\n", Options{}, 100_002},
	} {
		_, _, err := rowsOf(t, "export.csv", []byte(c.content), c.options)
		fault, ok := err.(*source.Error)
		if !ok || fault.Place != c.place || !strings.Contains(err.Error(), fmt.Sprintf("export.csv:%d: ", c.place)) {
			t.Errorf("%v, want line %d", err, c.place)
		}
	}
}

// By a feed's decimal comma a workbook's numbers read as its texts do, and FHIR,
// whose numbers have a point, is refused.
func TestDecimalComma(t *testing.T) {
	if _, _, err := rowsOf(t, "Observation.ndjson", []byte(`{"resourceType":"Observation"}`+"\n"), Options{Decimal: ','}); err == nil || !strings.Contains(err.Error(), "leave decimal: out") {
		t.Errorf("FHIR: %v", err)
	}
	if _, _, err := rowsOf(t, "Observation.ndjson", []byte(`{"resourceType":"Observation"}`+"\n"), Options{Decimal: '.'}); err != nil {
		t.Errorf("FHIR with a point: %v", err)
	}
}

// A title above the header is passed over where its row is stated, and noted; the
// place of a row stays its line.
func TestHeaderRow(t *testing.T) {
	for _, c := range []struct {
		text  string
		row   int64
		want  string
		fault string
		note  bool
	}{
		{"Coagulation, \"October 2026\n\nh1;h2\na;b\n", 3, "h1|h2 4:a|b", "", true},
		{"Title\nh1;h2\n\na;b", 2, "h1|h2 4:a|b", "", true},
		{"sep=;\nTitle, of commas\nh1;h2\na;b\n", 3, "h1|h2 4:a|b", "", true},
		{"\n\nh1;h2\na;b\n", 3, "h1|h2 4:a|b", "", false},
		{"h1;h2\na;b\n", 1, "h1|h2 2:a|b", "", false},
		{"", 3, "", "", false},
		{"Title\n\n\na;b\n", 3, "", ":3: header_row: found nothing on the row", false},
		{"Title\nh1;h2\n", 4, "", "header_row: found 2 rows, and row 4 stated", false},
		{"Title\nh1;h2", 3, "", ":3: header_row: found nothing on the row", false},
		{strings.Repeat("x", 100_000) + "\nh1;h2\na;b\n", 2, "h1|h2 3:a|b", "", true},
		{"\xdcbersicht\nh1;h2\na;b\n", 2, "", ":1: found bytes that are not UTF-8", false},
		{"MSH|^~\\&|\r", 2, "", "leave it out", false},
		{`{"resourceType":"Observation"}`, 2, "", "leave it out", false},
	} {
		path := filepath.Join(t.TempDir(), "labs.csv")
		if err := os.WriteFile(path, []byte(c.text), 0o600); err != nil {
			t.Fatal(err)
		}
		f, err := Open(path, Options{HeaderRow: c.row})
		if c.fault != "" || err != nil {
			if err == nil || c.fault == "" || !strings.Contains(err.Error(), c.fault) {
				t.Errorf("%.40q: %v, want %q", c.text, err, c.fault)
			}
			continue
		}
		got := []string{strings.Join(f.Names(), "|")}
		for stretch, err := range f.Stretches() {
			if err != nil {
				t.Fatal(err)
			}
			stretch.Rows(func(row Row) bool {
				got = append(got, fmt.Sprintf("%d:%s", row.Place, bytes.Join(row.Cells, []byte("|"))))
				return true
			})
		}
		if strings.Join(got, " ") != c.want || len(f.Notes()) > 0 != c.note {
			t.Errorf("%.40q: %q, notes %q; want %q", c.text, got, f.Notes(), c.want)
		}
		f.Close()
	}
}
