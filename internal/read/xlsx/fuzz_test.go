package xlsx

import (
	"errors"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"thawline/internal/read/source"
)

// Whatever stands in the parts of a workbook: nothing panics, faults are of the
// file, rows go up and are as wide as the header.
func FuzzSheet(f *testing.F) {
	whole := oneSheet(`<row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="inlineStr"><is><t>b</t></is></c></row><row r="3"><c r="B3" s="2"><v>45000.5</v></c></row>`)
	f.Add(whole["xl/worksheets/sheet1.xml"], whole["xl/sharedStrings.xml"], whole["xl/styles.xml"])
	f.Add(`<worksheet><sheetData><row><c><f>A1</f></c></row><row r="9"><c r="C9" t="b"><v>1</v></c></row></sheetData><mergeCells><mergeCell ref="A1:B9"/></mergeCells></worksheet>`, `<sst/>`, `<styleSheet/>`)
	f.Add(`<a:worksheet><a:sheetData><a:row r="2"/><a:row r="1"/>`, `<sst><si><t>_x0041__x</t>`, `<styleSheet><numFmts><numFmt numFmtId="164" formatCode="[$-409]h:mm"/></numFmts>`)
	f.Fuzz(func(t *testing.T, sheet, strs, styles string) {
		if len(sheet)+len(strs)+len(styles) > 1<<14 {
			return
		}
		header, rows, _, err := read(oneSheet("").with("xl/worksheets/sheet1.xml", sheet).with("xl/sharedStrings.xml", strs).with("xl/styles.xml", styles).zip(t), "")
		var fault *source.Error
		if err != nil && (!errors.As(err, &fault) || fault.Name != "export.xlsx") {
			t.Fatalf("%v is no fault of the file", err)
		}
		last := int64(0)
		for _, row := range rows {
			place, _, found := strings.Cut(row, ":")
			n, err := strconv.ParseInt(place, 10, 64)
			if !found || err != nil || n <= last {
				t.Fatalf("header %q, row %q after %d", header, row, last)
			}
			last = n
		}
	})
}

// Whatever bytes come as a workbook.
func FuzzWorkbook(f *testing.F) {
	for _, name := range []string{"exceljs.xlsx", "openpyxl.xlsx"} {
		content, err := os.ReadFile("testdata/" + name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(content)
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		if len(content) > 1<<16 {
			return
		}
		_, _, _, err := read(content, "1")
		var fault *source.Error
		if err != nil && !errors.As(err, &fault) {
			t.Fatalf("%v is no fault of the file", err)
		}
	})
}

// Every number is written as a date, a time, or the number itself.
func FuzzDate(f *testing.F) {
	for _, serial := range []float64{0, 0.5, 59.9999999999, 60, 45000.4270833333, 2958465.9999999999, -1, 1e300} {
		f.Add(serial, byte(3), false)
	}
	f.Fuzz(func(t *testing.T, serial float64, what byte, epoch1904 bool) {
		if serial != serial || what&3 == 0 {
			return
		}
		text := string(appendTime(nil, serial, shows(what&3), epoch1904))
		for _, layout := range []string{time.DateOnly, "2006-01-02T15:04:05", "2006-01-02T15:04:05.000", time.TimeOnly, "15:04:05.000"} {
			if _, err := time.Parse(layout, text); err == nil {
				return
			}
		}
		if v, err := strconv.ParseFloat(text, 64); err == nil && v == serial {
			return
		}
		// The two days of the 1900 system that never were.
		if !epoch1904 && (strings.HasPrefix(text, "1900-01-00") || strings.HasPrefix(text, "1900-02-29")) {
			return
		}
		t.Errorf("%v: %s", serial, text)
	})
}
