package delimited

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"

	"thawline/internal/read/source"
)

// candidates are the delimiters that are known.
var candidates = []byte(",;\t|")

// kinds are the first bytes of files that are sent in place of delimited text,
// as the formats' own documents give them: PDF (ISO 32000), Compound File (MS-CFB 2.2), HL7 v2 (ch. 2), Parquet.
var kinds = []struct{ magic, name string }{
	{"%PDF", "a PDF document"},
	{"\xd0\xcf\x11\xe0", "an old Office document (XLS) or a workbook with a password (then save it without one, as XLSX)"},
	{"MSH|", "an HL7 v2 message"},
	{"FHS|", "an HL7 v2 batch"},
	{"BHS|", "an HL7 v2 batch"},
	{"PAR1", "a Parquet file"},
}

// otherKind names the kind of file that start begins, or "" for text.
func otherKind(start []byte) string {
	for _, k := range kinds {
		if bytes.HasPrefix(start, []byte(k.magic)) {
			return k.name
		}
	}
	text := bytes.TrimSpace(start)
	switch {
	case bytes.HasPrefix(text, []byte("{\"")), bytes.HasPrefix(text, []byte("[{")):
		return "JSON"
	case bytes.HasPrefix(text, []byte("<!")), bytes.HasPrefix(text, []byte("<?xml")), bytes.HasPrefix(bytes.ToLower(text[:min(5, len(text))]), []byte("<html")):
		return "a page of HTML or XML"
	}
	return ""
}

// passOver reads the lines above the one that is stated for the header. They are
// lines of text, whatever quotes and delimiters stand in them.
func (e *Export) passOver() error {
	for e.line < e.headerRow {
		end := bytes.IndexByte(e.rest, '\n') + 1
		switch {
		case end == 0 && !e.ended && len(e.rest) < headerLimit:
			if err := e.fill(min(headerLimit, 2*len(e.rest)+1)); err != nil {
				return err
			}
			continue
		case end == 0 && !e.ended:
			return e.fault(e.line, "found a line of over %d MB above the header: the file is damaged or of another kind", headerLimit>>20)
		case end == 0 && len(e.rest) == 0 && e.above > 0:
			return e.fault(0, "header_row: found %d rows, and row %d stated for the header: correct header_row: of this feed in site.yaml, or leave it out", e.line-1, e.headerRow)
		case end == 0 && len(e.rest) == 0:
			return nil // A blank file.
		case end == 0:
			end = len(e.rest)
		}
		text := e.rest[:end]
		if !utf8.Valid(text) {
			return e.fault(e.line, "%s", notUTF8) // The rows may be of ASCII, and next month's not.
		}
		if !blank(text) && !e.hint(text) {
			e.above++
		}
		e.rest = e.rest[end:]
		e.line++
	}
	return nil
}

// Notes are sentences about what was passed over.
func (e *Export) Notes() []string {
	if e.above == 0 {
		return nil
	}
	return []string{source.PassedOver(e.above, e.headerRow)}
}

// header reads the first record that is not blank, if there is one, or the one on
// the line that is stated.
func (e *Export) header() error {
	if err := e.passOver(); err != nil {
		return err
	}
	for {
		text, err := e.firstRecord()
		if err != nil {
			return err
		}
		if len(text) == 0 && e.above > 0 {
			return e.fault(e.line, source.NoHeader)
		}
		if len(text) == 0 {
			return nil
		}
		line := e.line
		e.line += int64(bytes.Count(text, newline))
		e.rest = e.rest[len(text):]
		if blank(text) && e.headerRow > 0 && e.above > 0 {
			return e.fault(line, source.NoHeader)
		}
		if blank(text) {
			continue
		}
		if e.hint(text) {
			continue
		}
		if onlyReturns(text) {
			return e.fault(line, "found lines that end in a carriage return alone, wanted line feeds (with or without it): export the file again as CSV")
		}
		if !utf8.Valid(text) {
			return e.fault(line, "%s", notUTF8)
		}
		if e.Delimiter == 0 {
			found := present(text)
			if len(found) > 1 {
				return e.fault(line, "delimiter: found %s in the header, any of which may part the columns: state delimiter: for this feed in site.yaml", speak(found))
			}
			e.Delimiter = ','
			if len(found) == 1 {
				e.Delimiter = found[0]
			}
		}
		// The parser works in place; the header's own copy keeps rest whole.
		s := &Segment{name: e.name, delimiter: e.Delimiter, text: bytes.Clone(text), Line: line}
		return s.Rows(func(_ int64, cells [][]byte) bool {
			for _, c := range cells {
				e.Header = append(e.Header, strings.TrimSpace(string(c)))
			}
			return false
		})
	}
}

// onlyReturns reports whether text has lines that end as on old Macintosh systems.
func onlyReturns(text []byte) bool {
	return bytes.IndexByte(text, '\n') < 0 && bytes.IndexByte(bytes.TrimRight(text, "\r"), '\r') >= 0
}

// hint takes the line "sep=;" that spreadsheets write above the header (common
// practice) for what it is.
func (e *Export) hint(text []byte) bool {
	text = bytes.TrimRight(text, "\r\n")
	if len(text) != 5 || !bytes.EqualFold(text[:4], []byte("sep=")) || bytes.IndexByte(candidates, text[4]) < 0 {
		return false
	}
	if e.Delimiter == 0 {
		e.Delimiter = text[4]
	}
	return true
}

// firstRecord returns the first record of rest, with its line break.
func (e *Export) firstRecord() ([]byte, error) {
	for {
		if end := endOfFirst(e.rest, e.Delimiter); end > 0 {
			return e.rest[:end], nil
		}
		if e.ended {
			if quote := openQuote(e.rest, e.Delimiter); quote >= 0 {
				return nil, e.fault(e.line, "a quote opens in the header and never closes: repair the export")
			}
			return e.rest, nil
		}
		if len(e.rest) >= headerLimit && !onlyReturns(e.rest) {
			return nil, e.fault(e.line, "found a header of over %d MB, wanted a line with the names of the columns: the file is damaged or of another kind", headerLimit>>20)
		}
		if len(e.rest) >= headerLimit {
			return e.rest, nil
		}
		if err := e.fill(min(headerLimit, 2*len(e.rest)+1)); err != nil {
			return nil, err
		}
	}
}

// headerLimit is how long a header may be, in bytes.
const headerLimit = 1 << 20

// outside calls visit for each byte of text that stands outside quotes, until it
// returns false. With delimiter 0 any candidate starts a cell.
func outside(text []byte, delimiter byte, visit func(i int, c byte) bool) {
	quoted, closed := false, false
	for i, c := range text {
		switch {
		case c == '"' && quoted:
			quoted, closed = false, true
		case c == '"' && (closed || startsCell(text, i, delimiter)):
			// A doubled quote closes and opens again, which comes to the same.
			quoted, closed = true, false
		default:
			closed = false
			if !quoted && !visit(i, c) {
				return
			}
		}
	}
}

// endOfFirst returns the end of the first record of text, or 0.
func endOfFirst(text []byte, delimiter byte) int {
	end := 0
	outside(text, delimiter, func(i int, c byte) bool {
		if c == '\n' {
			end = i + 1
		}
		return end == 0
	})
	return end
}

func openQuote(text []byte, delimiter byte) int {
	if delimiter == 0 {
		delimiter = ','
	}
	_, open := lastRecord(text, delimiter, true)
	return open
}

func startsCell(text []byte, i int, delimiter byte) bool {
	if i == 0 || text[i-1] == '\n' {
		return true
	}
	if delimiter == 0 {
		return bytes.IndexByte(candidates, text[i-1]) >= 0
	}
	return text[i-1] == delimiter
}

// present lists the candidates that stand in text outside quotes.
func present(text []byte) []byte {
	seen := map[byte]bool{}
	outside(text, 0, func(_ int, c byte) bool {
		seen[c] = true
		return true
	})
	var found []byte
	for _, c := range candidates {
		if seen[c] {
			found = append(found, c)
		}
	}
	return found
}

var spoken = map[byte]string{',': "commas", ';': "semicolons", '\t': "tabs", '|': "pipes"}

func speak(delimiters []byte) string {
	var words []string
	for _, d := range delimiters {
		words = append(words, spoken[d])
	}
	last := len(words) - 1
	return fmt.Sprintf("%s and %s", strings.Join(words[:last], ", "), words[last])
}
