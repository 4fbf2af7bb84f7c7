// Package xlsx reads one sheet of a spreadsheet workbook (Office Open XML,
// ECMA-376 part 1, 18) row by row. It gives what the cells hold, never what they
// show: a number as its shortest exact text, a date as an ISO 8601 local time
// whatever its format. Memory does not grow with the sheet, only with the table
// of strings that the workbook shares.
package xlsx

import (
	"encoding/xml"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Export is one sheet, its header read.
type Export struct {
	// Header holds the names of the columns without outer spaces, from the first
	// row that is not blank; nil where the sheet is blank.
	Header []string
	// Sheets are the names of all worksheets, in the order of the workbook.
	Sheets []string
	// Shown are the names of those that are not hidden.
	Shown []string
	// Sheet is the name of the one that is read.
	Sheet string

	sheet *sheet
}

// workbook is the part of that name (18.2.27).
type workbook struct {
	Properties struct {
		Date1904 string `xml:"date1904,attr"`
	} `xml:"workbookPr"`
	Sheets []struct {
		Name  string     `xml:"name,attr"`
		State string     `xml:"state,attr"`
		Attrs []xml.Attr `xml:",any,attr"`
	} `xml:"sheets>sheet"`
}

// worksheet is a sheet that holds cells.
type worksheet struct {
	name, part string
	hidden     bool
}

// Options says what is read of a workbook.
type Options struct {
	// Sheet is the name of a sheet, or its number from 1; empty means the one that
	// is not hidden.
	Sheet string
	// HeaderRow is the row of the sheet that holds the header, or 0: the first that
	// is not blank.
	HeaderRow int64
	// Comma writes the decimals of numbers with a comma, as the texts beside them
	// are written: in the file a number has no mark of its own.
	Comma bool
}

// Open opens the workbook in at. name is the place in errors. Faults are errors of type *source.Error; where the sheet alone is in
// doubt, the export that comes with it names the sheets and holds no rows.
func Open(at io.ReaderAt, size int64, name string, o Options) (*Export, error) {
	p, err := openPack(at, size, name)
	if err != nil {
		return nil, err
	}
	root, err := p.related("")
	if err != nil {
		return nil, err
	}
	main := root.byType("officeDocument")
	f := p.find(main)
	if main == "" || f == nil {
		return nil, p.fault(p.otherKind())
	}
	if strings.HasSuffix(strings.ToLower(main), ".bin") {
		return nil, p.fault("found a binary workbook (XLSB): save it as XLSX or CSV")
	}
	var book workbook
	if err := p.decode(f, &book); err != nil {
		return nil, err
	}
	parts, err := p.related(main)
	if err != nil {
		return nil, err
	}
	var sheets []worksheet
	for _, s := range book.Sheets {
		for _, attr := range s.Attrs {
			if attr.Name.Local == "id" { // r:id; sheets of charts are of another type.
				if part := parts.byID(attr.Value, "worksheet"); part != "" {
					sheets = append(sheets, worksheet{s.Name, part, s.State == "hidden" || s.State == "veryHidden"})
				}
			}
		}
	}
	e := &Export{}
	for _, s := range sheets {
		e.Sheets = append(e.Sheets, s.name)
		if !s.hidden {
			e.Shown = append(e.Shown, s.name)
		}
	}
	chosen, says := choose(sheets, strings.TrimSpace(o.Sheet))
	if says != "" {
		return e, p.fault(says)
	}
	e.Sheet = chosen.name
	cells := &cells{pack: p, comma: o.Comma, epoch1904: book.Properties.Date1904 == "1" || book.Properties.Date1904 == "true"}
	if part := p.find(parts.byType("styles")); part != nil {
		if cells.formats, err = p.formats(part); err != nil {
			return nil, err
		}
	}
	if part := p.find(parts.byType("sharedStrings")); part != nil {
		if cells.shared, err = p.sharedStrings(part); err != nil {
			return nil, err
		}
	}
	if f = p.find(chosen.part); f == nil {
		return nil, p.fault(damagedZip)
	}
	if e.sheet, err = openSheet(p, f, cells); err != nil {
		return nil, err
	}
	e.Header, err = e.sheet.header(o.HeaderRow)
	if err != nil {
		e.Close()
	}
	return e, err
}

// choose returns the sheet that is wanted, or what to say.
func choose(sheets []worksheet, wanted string) (worksheet, string) {
	var names []string
	var shown []worksheet
	for _, s := range sheets {
		names = append(names, strconv.Quote(s.name))
		if !s.hidden {
			shown = append(shown, s)
		}
	}
	list := strings.Join(names, ", ")
	switch {
	case len(sheets) == 0:
		return worksheet{}, "found a workbook without a sheet of cells: export it again"
	case wanted == "" && len(shown) == 1:
		return shown[0], ""
	case wanted == "":
		return worksheet{}, fmt.Sprintf("found a workbook with the sheets %s, and no word on which is meant: state sheet: for this feed in site.yaml, its name or its number", list)
	}
	// Names are told apart without case, as spreadsheet programs do; a name goes
	// before a number, since a sheet may be called 2026.
	for _, s := range sheets {
		if strings.EqualFold(s.name, wanted) {
			return s, ""
		}
	}
	if n, err := strconv.Atoi(wanted); err == nil && n >= 1 && n <= len(sheets) {
		return sheets[n-1], ""
	}
	return worksheet{}, fmt.Sprintf("sheet: found %q stated for this feed in site.yaml; the workbook has %s", wanted, list)
}

// otherKind says what a ZIP archive that is no workbook seems to be.
func (p *pack) otherKind() string {
	switch {
	case p.find("content.xml") != nil && p.find("mimetype") != nil:
		return "found an OpenDocument file (ODS): save it as XLSX or CSV"
	case p.find("[Content_Types].xml") != nil:
		return "found an Office document that is no workbook, wanted XLSX or delimited text: correct files: of this feed in site.yaml"
	}
	return "found a ZIP archive, wanted an export as it is, or packed by gzip or zstd: unpack it"
}

// Notes are sentences about what of the sheet was not read, once all rows are.
func (e *Export) Notes() []string {
	if e.sheet == nil {
		return nil
	}
	return e.sheet.notes()
}

// Close gives the sheet up.
func (e *Export) Close() error { return e.sheet.part.close() }
