package xlsx

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"thawline/internal/read/source"
)

const (
	spreadsheet = `xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"`
	packages    = `xmlns="http://schemas.openxmlformats.org/package/2006/relationships"`
	types       = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/"
)

// parts is a workbook of our own, part by part, written out as ECMA-376 has it.
type parts map[string]string

// oneSheet is a workbook with one sheet of those rows.
func oneSheet(rows string) parts {
	return parts{
		"_rels/.rels":                `<Relationships ` + packages + `><Relationship Id="r1" Type="` + types + `officeDocument" Target="xl/workbook.xml"/></Relationships>`,
		"xl/workbook.xml":            `<workbook ` + spreadsheet + `><sheets><sheet name="Issues" sheetId="1" r:id="s1"/></sheets></workbook>`,
		"xl/_rels/workbook.xml.rels": `<Relationships ` + packages + `><Relationship Id="s1" Type="` + types + `worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="st" Type="` + types + `styles" Target="/xl/styles.xml"/><Relationship Id="ss" Type="` + types + `sharedStrings" Target="sharedStrings.xml"/></Relationships>`,
		"xl/styles.xml":              `<styleSheet ` + spreadsheet + `><numFmts><numFmt numFmtId="164" formatCode="[$-809]dd/mm/yyyy\ hh:mm"/><numFmt numFmtId="165" formatCode="[h]:mm"/><numFmt numFmtId="166" formatCode="0.00&quot; days&quot;"/></numFmts><cellXfs><xf numFmtId="0"/><xf numFmtId="14"/><xf numFmtId="22"/><xf numFmtId="20"/><xf numFmtId="164"/><xf numFmtId="165"/><xf numFmtId="166"/></cellXfs></styleSheet>`,
		"xl/sharedStrings.xml": `<sst ` + spreadsheet + `><si><t>unit_no</t></si><si><r><t xml:space="preserve">two </t></r><r><t>runs</t></r><rPh sb="0" eb="1"><t>spoken</t></rPh></si><si><t>a_x000D_
b_x005F_x000D_</t></si></sst>`,
		"xl/worksheets/sheet1.xml": `<worksheet ` + spreadsheet + `><sheetData>` + rows + `</sheetData></worksheet>`,
	}
}

func (p parts) with(name, text string) parts {
	p[name] = text
	return p
}

func (p parts) zip(t testing.TB) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, text := range p {
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// read returns the header and the rows, each as place:cell|cell.
func read(content []byte, wanted string) (header string, rows []string, notes []string, err error) {
	e, err := Open(bytes.NewReader(content), int64(len(content)), "export.xlsx", Options{Sheet: wanted})
	if err != nil {
		return "", nil, nil, err
	}
	defer e.Close()
	for stretch, err := range e.Stretches() {
		if err != nil {
			return "", rows, nil, err
		}
		stretch.Rows(func(place int64, cells [][]byte) bool {
			if len(cells) != len(e.Header) {
				rows = append(rows, fmt.Sprintf("%d cells", len(cells)))
			}
			rows = append(rows, fmt.Sprintf("%d:%s", place, bytes.Join(cells, []byte("|"))))
			return true
		})
		stretch.Release()
	}
	return strings.Join(e.Header, "|"), rows, e.Notes(), nil
}

func TestSheet(t *testing.T) {
	head := `<row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="inlineStr"><is><t> b </t></is></c><c r="C1"/></row>`
	for _, c := range []struct{ name, rows, header, want string }{
		// What a cell can hold, by ECMA-376 part 1, 18.18.11.
		{"shared, inline and calculated text", head + `<row r="2"><c r="A2" t="s"><v>1</v></c><c r="B2" t="str"><f>A1</f><v>c_x0041_</v></c></row>`, "unit_no|b", "2:two runs|cA"},
		{"runs inline", head + `<row r="2"><c r="A2" t="inlineStr"><is><r><t>x</t></r><r><t>y</t></r></is></c></row>`, "unit_no|b", "2:xy|"},
		{"escapes (22.9.2.19)", head + `<row r="2"><c r="A2" t="s"><v>2</v></c></row>`, "unit_no|b", "2:a\r\nb_x000D_|"},
		{"booleans and errors", head + `<row r="2"><c r="A2" t="b"><v>1</v></c><c r="B2" t="b"><v>0</v></c></row><row r="3"><c r="A3" t="e"><v>#N/A</v></c><c r="B3" t="e"><f>1/0</f><v>#DIV/0!</v></c></row>`, "unit_no|b", "2:true|false 3:#N/A|#DIV/0!"},
		{"numbers as the shortest exact text", head + `<row r="2"><c r="A2"><v>1.3999999999999999</v></c><c r="B2" t="n"><v>1.5E-2</v></c></row><row r="3"><c r="A3"><v>1.23456789012E11</v></c><c r="B3"><v>0.30000000000000004</v></c></row><row r="4"><c r="A4"><v>12345678901234567890</v></c><c r="B4"><v>-7.0</v></c></row>`, "unit_no|b", "2:1.4|0.015 3:123456789012|0.30000000000000004 4:12345678901234567890|-7"},
		{"a number shown otherwise", head + `<row r="2"><c r="A2" s="6"><v>3.14159</v></c><c r="B2" s="5"><v>1.5</v></c></row>`, "unit_no|b", "2:3.14159|1.5"},
		{"dates, with and without a time", head + `<row r="2"><c r="A2" s="1"><v>45000</v></c><c r="B2" s="2"><v>45000</v></c></row><row r="3"><c r="A3" s="1"><v>45000.4270833333</v></c><c r="B3" s="4"><v>45000.999999999</v></c></row><row r="4"><c r="A4" s="3"><v>0.4270833333333333</v></c><c r="B4" s="3"><v>45000.5</v></c></row>`, "unit_no|b",
			"2:2023-03-15|2023-03-15T00:00:00 3:2023-03-15T10:15:00|2023-03-16T00:00:00 4:10:15:00|2023-03-15T12:00:00"},
		{"a date by its type", head + `<row r="2"><c r="A2" t="d"><v>2026-10-25T01:30:00</v></c></row>`, "unit_no|b", "2:2026-10-25T01:30:00|"},
		{"a formula whose result nobody stored", head + `<row r="2"><c r="A2"><f>B2</f></c><c r="B2"><f>1</f><v></v></c></row><row r="3"><c r="A3"><f>B2</f><v>7</v></c><c r="B3" t="str"><f>""</f><v></v></c></row>`, "unit_no|b", "2:#CALC!|#CALC! 3:7|"},
		{"style out of range", head + `<row r="2"><c r="A2" s="99"><v>45000</v></c></row>`, "unit_no|b", "2:45000|"},
		// Where cells stand.
		{"blank rows before, between and after", `<row r="2"/><row r="3"><c r="A3"><v></v></c><c r="B3" t="inlineStr"><is><t>  </t></is></c></row><row r="5"><c r="B5" t="s"><v>0</v></c></row><row r="9"><c r="B9"><v>1</v></c></row><row r="11"><c r="B11" s="1"/></row>`, "|unit_no", "9:|1"},
		{"cells and rows without a place", `<row><c t="s"><v>0</v></c><c t="inlineStr"><is><t>b</t></is></c></row><row><c><v>1</v></c><c><v>2</v></c></row>`, "unit_no|b", "2:1|2"},
		{"gaps between cells", head + `<row r="4"><c r="B4"><v>2</v></c></row>`, "unit_no|b", "4:|2"},
		{"no rows", head, "unit_no|b", ""},
		{"nothing", "", "", ""},
		{"a prefix on every name", `<x:row r="1"><x:c r="A1" t="inlineStr"><x:is><x:t>a</x:t></x:is></x:c></x:row><x:row r="2"><x:c r="A2"><x:v>1</x:v></x:c></x:row>`, "a", "2:1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			header, rows, _, err := read(oneSheet(c.rows).zip(t), "")
			if err != nil || header != c.header || strings.Join(rows, " ") != c.want {
				t.Errorf("%q %q %v; want %q %q", header, rows, err, c.header, c.want)
			}
		})
	}
}

// The bases of dates and their limits are those of ECMA-376 part 1, 18.17.4.1:
// 1900 counts from 1 January 1900 = 1 and has a 29 February, 1904 counts from 1
// January 1904 = 0; both end on 31 December 9999.
func TestDates(t *testing.T) {
	for _, c := range []struct {
		serial    float64
		epoch1904 bool
		want      string
	}{
		{1, false, "1900-01-01"}, {59, false, "1900-02-28"}, {60, false, "1900-02-29"}, {61, false, "1900-03-01"}, {2958465, false, "9999-12-31"},
		{0, false, "1900-01-00"}, {2958466, false, "2958466"}, {-1, false, "-1"},
		{0, true, "1904-01-01"}, {2957003, true, "9999-12-31"}, {2957004, true, "2957004"}, {1461, true, "1908-01-01"},
		// The same day in both bases is 1,462 days apart.
		{45000, false, "2023-03-15"}, {45000 - 1462, true, "2023-03-15"},
		{45000.000005787037, false, "2023-03-15T00:00:00.500"}, {44999.9999999999, false, "2023-03-15"},
	} {
		if got := string(appendTime(nil, c.serial, showsDate, c.epoch1904)); got != c.want {
			t.Errorf("%v, 1904 %v: %s, want %s", c.serial, c.epoch1904, got, c.want)
		}
	}
	head := `<row r="1"><c r="A1" t="s"><v>0</v></c></row><row r="2"><c r="A2" s="2"><v>43538.25</v></c></row>`
	book := oneSheet(head).with("xl/workbook.xml", `<workbook `+spreadsheet+`><workbookPr date1904="1"/><sheets><sheet name="Issues" sheetId="1" r:id="s1"/></sheets></workbook>`)
	if _, rows, _, err := read(book.zip(t), ""); err != nil || strings.Join(rows, " ") != "2:2023-03-15T06:00:00" {
		t.Errorf("%q %v", rows, err)
	}
}

func TestFormatsOfTime(t *testing.T) {
	for code, want := range map[string]shows{
		// From the examples of ECMA-376 part 1, 18.8.30 and 18.8.31.
		"mm-dd-yy": showsDate, "d-mmm-yy": showsDate, "d-mmm": showsDate, "mmm-yy": showsDate,
		"h:mm AM/PM": showsTime, "h:mm:ss AM/PM": showsTime, "h:mm": showsTime, "h:mm:ss": showsTime, "m/d/yy h:mm": showsDate | showsTime,
		"mm:ss": showsTime, "[h]:mm:ss": 0, "mmss.0": showsTime, "[mm]:ss": 0,
		"General": 0, "0": 0, "0.00": 0, "#,##0": 0, "0%": 0, "0.00E+00": 0, "# ?/?": 0, "@": 0, "#,##0 ;[Red](#,##0)": 0,
		// What programs write (common practice).
		"dd/mm/yyyy hh:mm": showsDate | showsTime, "yyyy-mm-dd\\Thh:mm:ss": showsDate | showsTime, "[$-809]d mmmm yyyy": showsDate,
		"dd.mm.yyyy;@": showsDate, "yyyy/mm": showsDate, `0" days"`: 0, `0 "hours"`: 0, "[Red]0": 0, "[$€-2] #,##0.00": 0, `#,##0.00\ "DM"`: 0, `"Day "d`: showsDate, "dddd": showsDate, "YYYY\\-MM\\-DD\\ HH:MM": showsDate | showsTime,
		"": 0, ";;;": 0, strings.Repeat("y", 5000): 0,
	} {
		if got := shown(code); got != want {
			t.Errorf("%q shows %d, want %d", code, got, want)
		}
	}
}

func TestSheets(t *testing.T) {
	row := func(text string) string {
		return `<worksheet ` + spreadsheet + `><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>` + text + `</t></is></c></row></sheetData></worksheet>`
	}
	book := func(sheets string) []byte {
		return oneSheet("").with("xl/workbook.xml", `<workbook `+spreadsheet+`><sheets>`+sheets+`</sheets></workbook>`).
			with("xl/_rels/workbook.xml.rels", `<Relationships `+packages+`><Relationship Id="s1" Type="`+types+`worksheet" Target="worksheets/one.xml"/><Relationship Id="s2" Type="`+types+`worksheet" Target="worksheets\two.xml"/><Relationship Id="s3" Type="`+types+`chartsheet" Target="chartsheets/three.xml"/></Relationships>`).
			with("xl/worksheets/one.xml", row("first")).with("XL/worksheets/Two.xml", row("second")).zip(t)
	}
	const first, second = `<sheet name="2026" sheetId="1" r:id="s1"/>`, `<sheet name="Notes" sheetId="2" r:id="s2"/>`
	const hidden, chart = `<sheet name="Notes" sheetId="2" state="hidden" r:id="s2"/>`, `<sheet name="Chart" sheetId="3" r:id="s3"/>`
	for _, c := range []struct{ sheets, wanted, header, says string }{
		{first, "", "first", ""},
		{first + chart, "", "first", ""},
		{first + hidden, "", "first", ""},
		{first + hidden, "notes", "second", ""},
		{first + second, "Notes", "second", ""},
		{first + second, "2", "second", ""},
		{second + first, "2026", "first", ""},
		{second + first, " 1 ", "second", ""},
		{first + second, "", "", `"2026", "Notes"`},
		{first + second, "3", "", `"2026", "Notes"`},
		{first + second, "Labs", "", `"Labs" stated`},
		{first + second, "0", "", `"0" stated`},
		{hidden, "", "", `"Notes"`},
		{chart, "", "", "without a sheet"},
	} {
		header, _, _, err := read(book(c.sheets), c.wanted)
		if c.says == "" && (err != nil || header != c.header) || c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)) {
			t.Errorf("%s, %q wanted: %q %v; want %q %q", c.sheets, c.wanted, header, err, c.header, c.says)
		}
	}
}

func TestNotes(t *testing.T) {
	book := oneSheet(`<row r="1"><c r="A1" t="s"><v>0</v></c></row><row r="2"><c r="A2"><v>1</v></c><c r="D2"><v>7</v></c></row><row r="3"><c r="E3" t="inlineStr"><is><t>a remark</t></is></c></row>`)
	book["xl/worksheets/sheet1.xml"] = strings.Replace(book["xl/worksheets/sheet1.xml"], "</sheetData>", `</sheetData><mergeCells><mergeCell ref="A2:A3"/><mergeCell ref="A1:C1"/><mergeCell ref="$A$4:$B$4"/></mergeCells>`, 1)
	_, rows, notes, err := read(book.zip(t), "")
	if err != nil || strings.Join(rows, " ") != "2:1" || len(notes) != 2 || !strings.HasPrefix(notes[0], "cells merged over several rows: 1;") || !strings.HasPrefix(notes[1], "cells right of the header, under no name: 2;") {
		t.Errorf("%q %q %v", rows, notes, err)
	}
}

func TestDamage(t *testing.T) {
	head := `<row r="1"><c r="A1" t="s"><v>0</v></c></row>`
	whole := oneSheet(head).zip(t)
	broken := func(name, text string) []byte { return oneSheet(head).with(name, text).zip(t) }
	swapped := bytes.Replace(whole, []byte("PK\x03\x04"), []byte("PK\x03\x05"), 1)
	for _, c := range []struct {
		name    string
		content []byte
		place   int64
		says    string
	}{
		{"cut short", whole[:len(whole)/2], 0, "damaged"},
		{"nothing but the first bytes", []byte("PK\x03\x04"), 0, "damaged"},
		// Found by FuzzWorkbook: the end of the archive points before its start.
		{"an end that points nowhere", append([]byte("PK\x05\x06\x00\x00\x00\x00\x01\x00\x01\x00\xff\xff\xff\x7f"), "\x30\x00\x00\x00\x00\x00"...), 0, "damaged"},
		{"a wrong header of a part", swapped, 0, "damaged"},
		{"a ZIP archive", parts{"a.csv": "h1,h2\n"}.zip(t), 0, "ZIP archive"},
		{"OpenDocument", parts{"mimetype": "application/vnd.oasis.opendocument.spreadsheet", "content.xml": "<x/>"}.zip(t), 0, "OpenDocument"},
		{"another Office document", parts{"[Content_Types].xml": "<x/>"}.zip(t), 0, "no workbook"},
		{"a binary workbook", parts{"_rels/.rels": `<Relationships><Relationship Id="r1" Type="` + types + `officeDocument" Target="xl/workbook.bin"/></Relationships>`, "xl/workbook.bin": "x"}.zip(t), 0, "XLSB"},
		{"a sheet that is not there", broken("xl/_rels/workbook.xml.rels", `<Relationships><Relationship Id="s1" Type="`+types+`worksheet" Target="worksheets/gone.xml"/></Relationships>`), 0, "damaged"},
		{"a sheet that ends early", broken("xl/worksheets/sheet1.xml", `<worksheet><sheetData>`+head+`<row r="7"><c r="A7"><v>1`), 7, "damaged"},
		{"a sheet without its end", broken("xl/worksheets/sheet1.xml", `<worksheet><sheetData>`+head+`<row r="7"></row>`), 7, "damaged"},
		{"no XML", broken("xl/worksheets/sheet1.xml", `<worksheet><sheetData>`+head+`<row r="3"><c r="A3"><v>&nbsp;</v></c></row>`), 3, "damaged"},
		{"an entity of its own", broken("xl/worksheets/sheet1.xml", `<!DOCTYPE x [<!ENTITY a "b">]><worksheet><sheetData>`+head+`<row r="3"><c r="A3"><v>&a;</v></c></row>`), 3, "damaged"},
		{"rows out of order", broken("xl/worksheets/sheet1.xml", `<worksheet><sheetData>`+head+`<row r="3"/><row r="2"/></sheetData></worksheet>`), 3, "out of order"},
		{"a row beyond the last", broken("xl/worksheets/sheet1.xml", `<worksheet><sheetData>`+head+`<row r="9999999"/></sheetData></worksheet>`), 1, "out of order"},
		{"cells out of order", broken("xl/worksheets/sheet1.xml", `<worksheet><sheetData>`+head+`<row r="2"><c r="B2"><v>1</v></c><c r="A2"><v>1</v></c></row></sheetData></worksheet>`), 2, "out of order"},
		{"a column beyond the last", broken("xl/worksheets/sheet1.xml", `<worksheet><sheetData>`+head+`<row r="2"><c r="ZZZZ2"><v>1</v></c></row></sheetData></worksheet>`), 2, "out of order"},
		{"a string that is not there", broken("xl/worksheets/sheet1.xml", `<worksheet><sheetData>`+head+`<row r="2"><c r="A2" t="s"><v>99</v></c></row></sheetData></worksheet>`), 2, "damaged"},
		{"a style that is no number", broken("xl/styles.xml", `<styleSheet><cellXfs><xf numFmtId="1@4"/></cellXfs></styleSheet>`), 0, "damaged"},
		{"styles that are no XML", broken("xl/styles.xml", "styles"), 0, "damaged"},
		{"strings that end early", broken("xl/sharedStrings.xml", "<sst><si><t>a"), 0, "damaged"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, _, _, err := read(c.content, "")
			var fault *source.Error
			if !errors.As(err, &fault) || fault.Name != "export.xlsx" || fault.Place != c.place || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v, want row %d and %q", err, c.place, c.says)
			}
		})
	}
}

// A checksum that does not fit is found though every row could be read.
func TestChecksum(t *testing.T) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, text := range oneSheet(`<row r="1"><c r="A1" t="s"><v>0</v></c></row><row r="2"><c r="A2"><v>12345</v></c></row>`) {
		w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store})
		if err != nil {
			t.Fatal(err)
		}
		w.Write([]byte(text))
	}
	z.Close()
	if _, _, _, err := read(b.Bytes(), ""); err != nil {
		t.Fatal(err)
	}
	if _, _, _, err := read(bytes.Replace(b.Bytes(), []byte("12345"), []byte("12346"), 1), ""); err == nil || !strings.Contains(err.Error(), "damaged") {
		t.Errorf("error %v, want it found", err)
	}
}

// A part of few bytes that would unpack to very many is stopped.
func TestTrap(t *testing.T) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	w, err := z.Create("xl/worksheets/sheet1.xml")
	if err != nil {
		t.Fatal(err)
	}
	spaces := bytes.Repeat([]byte(" "), 1<<20)
	for range 400 {
		w.Write(spaces)
	}
	z.Close()
	p, err := openPack(bytes.NewReader(b.Bytes()), int64(b.Len()), "export.xlsx")
	if err != nil {
		t.Fatal(err)
	}
	r, err := p.open(p.find("xl/worksheets/sheet1.xml"))
	if err != nil {
		t.Fatal(err)
	}
	n, err := io.Copy(io.Discard, r)
	if err == nil || !strings.Contains(err.Error(), "trap") || n > 300<<20 {
		t.Errorf("%d bytes, error %v; want it stopped", n, err)
	}
}

// An error of the disk is no damage of the file.
func TestErrorOfTheDisk(t *testing.T) {
	content := oneSheet("").zip(t)
	broken := errors.New("input/output error")
	_, err := Open(failing{bytes.NewReader(content), broken}, int64(len(content)), "export.xlsx", Options{})
	if !errors.Is(err, broken) {
		t.Errorf("error %v, want the disk's own", err)
	}
}

// failing reads the end of the file and nothing else.
type failing struct {
	io.ReaderAt
	err error
}

func (f failing) ReadAt(b []byte, at int64) (int, error) {
	if at == 0 {
		return 0, f.err
	}
	return f.ReaderAt.ReadAt(b, at)
}

// A number has no mark in the file: it is written with the one that the texts
// beside it have. Dates and texts stay.
func TestNumbersWithAComma(t *testing.T) {
	rows := `<row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="inlineStr"><is><t>b</t></is></c></row><row r="2"><c r="A2"><v>1.234</v></c><c r="B2" t="inlineStr"><is><t>1.234</t></is></c></row><row r="3"><c r="A3"><v>7</v></c><c r="B3" s="1"><v>45000.5</v></c></row>`
	content := oneSheet(rows).zip(t)
	e, err := Open(bytes.NewReader(content), int64(len(content)), "export.xlsx", Options{Comma: true})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	var got []string
	for stretch, err := range e.Stretches() {
		if err != nil {
			t.Fatal(err)
		}
		stretch.Rows(func(_ int64, cells [][]byte) bool {
			got = append(got, string(bytes.Join(cells, []byte("|"))))
			return true
		})
	}
	if want := "1,234|1.234 7|2023-03-15T12:00:00"; strings.Join(got, " ") != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// Rows above the stated header are passed over and noted; a blank one in its place
// is a fault.
func TestHeaderRowOfASheet(t *testing.T) {
	rows := `<row r="1"><c r="A1" t="inlineStr"><is><t>Title</t></is></c></row><row r="3"><c r="A3" t="s"><v>0</v></c><c r="B3" t="inlineStr"><is><t>b</t></is></c></row><row r="4"><c r="A4"><v>1</v></c><c r="B4"><v>2</v></c></row>`
	content := oneSheet(rows).zip(t)
	for row, want := range map[int64]string{3: "unit_no|b 4:1|2", 2: "fault", 4: "1|2", 9: "fault"} {
		e, err := Open(bytes.NewReader(content), int64(len(content)), "export.xlsx", Options{HeaderRow: row})
		got := "fault"
		if err == nil {
			got = strings.Join(e.Header, "|")
			for stretch, err := range e.Stretches() {
				if err != nil {
					t.Fatal(err)
				}
				stretch.Rows(func(place int64, cells [][]byte) bool {
					got += fmt.Sprintf(" %d:%s", place, bytes.Join(cells, []byte("|")))
					return true
				})
			}
			if notes := e.Notes(); len(notes) != 1 || !strings.Contains(notes[0], "passed over") {
				t.Errorf("row %d: notes %q", row, notes)
			}
		}
		if got != want {
			t.Errorf("row %d: %q, want %q (%v)", row, got, want, err)
		}
	}
}
