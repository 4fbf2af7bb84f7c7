package delimited

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/bits"
	"unicode/utf8"

	"thawline/internal/read/source"
)

// Segment is a stretch of a file from the start of a record to the end of one.
type Segment struct {
	// Line is the physical line, 1-based, on which the segment begins.
	Line int64

	name      string
	delimiter byte
	text      []byte
	// width is how many columns the header names; 0 in the header itself.
	width int
}

// Release gives the segment's memory back. Neither it nor any cell of it may be
// used after.
func (s *Segment) Release() {
	buffers.put(s.text)
	s.text = nil
}

const nulByte = "found a NUL byte, wanted text: the file is damaged or of another kind, or text in UTF-16 (then state encoding: utf-16 for this feed in site.yaml)"

const notUTF8 = "found bytes that are not UTF-8: state the encoding of this feed in site.yaml (encoding: windows-1252 or utf-16), or export the file as UTF-8"

// Rows parses the segment, once, and calls yield for each record with the
// physical line on which it begins, until yield returns false. Blank lines are
// passed over. cells is used again for the next record, and the cells lie in
// the segment's memory. Text that is not UTF-8 and NUL bytes are a *source.Error,
// before any record is given out; so is a quoted cell that runs on over lines
// and plainly closes elsewhere than where it should, after the records before it.
func (s *Segment) Rows(yield func(line int64, cells [][]byte) bool) error {
	if at := bytes.IndexByte(s.text, 0); at >= 0 {
		return s.fault(at, nulByte)
	}
	if !utf8.Valid(s.text) {
		return s.fault(firstInvalid(s.text), notUTF8)
	}
	text, delimiter, line := s.text, s.delimiter, s.Line
	delimiters := eachByte * uint64(delimiter)
	var cells [][]byte
	for at := 0; at < len(text); {
		begins, first := line, at
		cells = cells[:0]
		for more := true; more; {
			var cell []byte
			if at < len(text) && text[at] == '"' {
				var breaks int
				cell, at, breaks = quoted(text, at, delimiter)
				if breaks != 0 {
					if breaks < 0 || s.strayed(cell, text[at:], len(cells)) {
						return &source.Error{Name: s.name, Place: line, Says: strayQuote}
					}
					line += int64(breaks)
				}
			} else {
				start := at
				// Eight bytes at a time: of a cell at the end of the text, one.
				for at+8 <= len(text) {
					eight := binary.LittleEndian.Uint64(text[at:])
					if found := zeroes(eight^delimiters) | zeroes(eight^newlines); found != 0 {
						at += bits.TrailingZeros64(found) / 8
						goto found
					}
					at += 8
				}
				for at < len(text) && text[at] != delimiter && text[at] != '\n' {
					at++
				}
			found:
				cell = text[start:at:at]
				if (at == len(text) || text[at] == '\n') && at > start && text[at-1] == '\r' {
					// The line ends in CRLF, or in CR at the end of the file.
					cell = cell[:len(cell)-1]
				}
			}
			more = at < len(text) && text[at] == delimiter
			cells = append(cells, cell)
			if at < len(text) {
				if !more {
					line++
				}
				at++
				if more && at == len(text) {
					// A delimiter is the file's last byte: an empty cell follows.
					cells = append(cells, text[at:])
					more = false
				}
			}
		}
		if len(cells) == 1 && blank(cells[0]) && text[first] != '"' {
			continue
		}
		if !yield(begins, cells) {
			return nil
		}
	}
	return nil
}

// eachByte times a byte is that byte eight times.
const (
	eachByte = 0x0101010101010101
	newlines = eachByte * uint64('\n')
)

// zeroes marks the lowest zero byte of eight by its highest bit; what it marks
// above that may be wrong (Warren, Hacker's Delight, 6-1).
func zeroes(eight uint64) uint64 {
	return (eight - eachByte) &^ eight & (eachByte << 7)
}

// blank reports whether a line holds nothing that is seen; an old mark of the
// end of a file (0x1A, common practice) is not.
func blank(line []byte) bool {
	for _, c := range line {
		if c > ' ' {
			return len(bytes.TrimSpace(line)) == 0
		}
	}
	return true
}

// quoted reads the cell whose quote opens at text[at]. It moves the cell's text
// together in place where quotes were doubled, and returns it, the place of the
// delimiter or line break after it, and the line breaks inside it. What stands
// between the closing quote and the delimiter is kept as it is; where that is not
// blank and there are breaks, their number is negative.
func quoted(text []byte, at int, delimiter byte) (cell []byte, next, breaks int) {
	at++
	start, end := at, at
	for {
		q := bytes.IndexByte(text[at:], '"')
		if q < 0 {
			// Segments end outside quotes; the header of a damaged file may not.
			q = len(text) - at
		}
		breaks += bytes.Count(text[at:at+q], newline)
		if end != at {
			copy(text[end:], text[at:at+q])
		}
		end += q
		at += q + 1
		if at >= len(text) || text[at] != '"' {
			break
		}
		text[end] = '"'
		end++
		at++
	}
	at = min(at, len(text))
	inside := end
	for at < len(text) && text[at] != delimiter && text[at] != '\n' {
		text[end] = text[at]
		end++
		at++
	}
	if (at == len(text) || text[at] == '\n') && end > inside && text[end-1] == '\r' {
		end-- // Of CRLF; a carriage return inside the quotes stays.
	}
	if breaks > 0 && end > inside && !blank(text[inside:end]) {
		breaks = -breaks
	}
	return text[start:end:end], at, breaks
}

const strayQuote = "a quote opens on this line, and the cell runs on over the lines that follow to another quote that does not end it: the rows between would be lost; repair the export: a cell that begins with a quote is written in quotes, and a quote inside it twice"

// strayed reports whether a cell of several lines is none, but begins with a
// quote that is a character like any other (an exporter that writes no quotes),
// and runs on to the next cell that does so: all rows between would be one cell.
// Mostly text stands after the quote that closes it, where RFC 4180 has a
// delimiter or the end of the line: quoted says so. Where none does, that quote
// stands where a cell begins, and both the first line of the cell and its last,
// taken without their quotes, have as many cells as the header. before is how
// many cells stand before it, after what follows it.
func (s *Segment) strayed(cell, after []byte, before int) bool {
	text := cell
	if last := text[len(text)-1]; s.width < 4 || last != s.delimiter && last != '\n' {
		return false
	}
	parts := func(text []byte) int { return bytes.Count(text, []byte{s.delimiter}) }
	if end := bytes.IndexByte(after, '\n'); end >= 0 {
		after = after[:end]
	}
	first, last := text[:bytes.IndexByte(text, '\n')], text[bytes.LastIndexByte(text, '\n')+1:]
	return before+parts(first)+1 == s.width && parts(last)+parts(after)+1 == s.width
}

func (s *Segment) fault(at int, says string) error {
	return &source.Error{Name: s.name, Place: s.Line + int64(bytes.Count(s.text[:at], newline)), Says: says}
}

// firstInvalid returns the place of the first byte that is not UTF-8.
func firstInvalid(text []byte) int {
	for at := 0; at < len(text); {
		r, size := utf8.DecodeRune(text[at:])
		if r == utf8.RuneError && size == 1 {
			return at
		}
		at += size
	}
	return len(text)
}

// String tells the segment's place, for traces.
func (s *Segment) String() string {
	return fmt.Sprintf("%s from line %d, %d bytes", s.name, s.Line, len(s.text))
}
