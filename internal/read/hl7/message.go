package hl7

import (
	"bytes"
	"encoding/hex"
	"math"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"

	"thawline/internal/read/row"
)

// separators part the text of a message: MSH-1 and MSH-2.
type separators struct {
	field, component, repetition, escape, sub byte
	// truncation (2.7) is written as \P\ where it is text.
	truncation byte
}

// segment is one segment of a message, in UTF-8.
type segment struct {
	no   int64
	name string
	// fields are the raw fields; [0] is the name, and of MSH [1] is the separator.
	fields [][]byte
}

// message is a message taken apart.
type message struct {
	separators
	charset  *charmap.Charmap // of bytes in escapes, nil for UTF-8
	segments []*segment
	// offset is the one of MSH-7 where times without their own take it, or empty.
	offset []byte
	kind   string // MSH-9, as ORU^R01
	// fault says why the text cannot be read.
	fault string
}

// charsets are the one-byte character sets of table 0211. Others than these,
// ASCII and UTF-8 are not read.
var charsets = map[string]*charmap.Charmap{
	"8859/1": charmap.ISO8859_1, "8859/2": charmap.ISO8859_2, "8859/3": charmap.ISO8859_3, "8859/4": charmap.ISO8859_4, "8859/5": charmap.ISO8859_5,
	"8859/6": charmap.ISO8859_6, "8859/7": charmap.ISO8859_7, "8859/8": charmap.ISO8859_8, "8859/9": charmap.ISO8859_9, "8859/15": charmap.ISO8859_15,
}

// message takes the segments from at to end apart and yields the rows that they
// hold. It is false where yield was.
func (s *Stretch) message(at, end int, blood *history, yield func(row.Row) bool) bool {
	m := &message{}
	m.separate(s.text[s.segments[at].from:s.segments[at].to])
	var faults []row.Row
	for i := at; i < end; i++ {
		p := s.segments[i]
		if p.fault != "" {
			faults = append(faults, row.Row{Place: p.no, Fault: p.fault})
			continue
		}
		text := s.text[p.from:p.to:p.to]
		if i == at {
			m.readHeader(text, p.no, s.export.o)
		}
		if m.fault == "" {
			text = m.decode(text)
		}
		if i > at && len(text) > 3 && text[3] != m.field {
			faults = append(faults, row.Row{Place: p.no, Fault: "found another field separator than the message's own (MSH-1): the segment is not read"})
			continue
		}
		m.segments = append(m.segments, m.split(text, p.no))
	}
	// Faults stand among the rows by their place.
	until := func(place int64) bool {
		for len(faults) > 0 && faults[0].Place < place {
			fault := faults[0]
			faults = faults[1:]
			if !yield(fault) {
				return false
			}
		}
		return true
	}
	return s.export.rows(m, blood, func(r row.Row) bool { return until(r.Place) && yield(r) }) && until(math.MaxInt64)
}

func (m *message) split(text []byte, no int64) *segment {
	s := &segment{no: no, name: string(text[:3]), fields: bytes.Split(text, []byte{m.field})}
	if s.name == "MSH" {
		// MSH-1 is the separator itself.
		s.fields = append([][]byte{s.fields[0], {m.field}}, s.fields[1:]...)
	}
	return s
}

// separate reads MSH-1 and MSH-2. What is not stated is not used.
func (m *message) separate(header []byte) {
	m.field = header[3]
	encoding, _, _ := bytes.Cut(header[4:], []byte{m.field})
	for i, into := range []*byte{&m.component, &m.repetition, &m.escape, &m.sub, &m.truncation} {
		if i < len(encoding) && encoding[i] > ' ' && encoding[i] < utf8.RuneSelf {
			*into = encoding[i]
		}
	}
}

// readHeader finds the type, the character set and the offset of a message.
func (m *message) readHeader(text []byte, no int64, o Options) {
	header := m.split(text, no)
	m.kind = string(m.part(header.field(9), 1, 1))
	if event := m.part(header.field(9), 2, 1); len(event) > 0 {
		m.kind += "^" + string(event)
	}
	if !utf8.ValidString(m.kind) {
		m.kind = "unknown"
	}
	if !o.Decoded {
		m.readCharset(header.field(18))
	}
	m.offset = m.defaultOffset(m.part(header.field(7), 1, 1), o.Zone)
}

func (m *message) readCharset(field []byte) {
	first, _, _ := bytes.Cut(field, []byte{m.repetition})
	switch name := strings.ToUpper(string(bytes.TrimSpace(first))); name {
	case "", "ASCII", "UNICODE", "UNICODE UTF-8":
		// ASCII is a part of UTF-8. A plain UNICODE does not say which of its
		// forms; what is not UTF-8 is found when it is read.
	default:
		if m.charset = charsets[name]; m.charset == nil {
			m.fault = "MSH-18 states a character set that is not read: send UTF-8 (UNICODE UTF-8), or state encoding: of the feed in site.yaml"
		}
	}
}

const notUTF8 = "found bytes that are not UTF-8, and MSH-18 states no other character set: state encoding: of the feed in site.yaml, or send UTF-8"

// decode gives a segment as UTF-8. Its fault is the message's.
func (m *message) decode(text []byte) []byte {
	if m.charset != nil {
		ascii := true
		for _, c := range text {
			ascii = ascii && c < utf8.RuneSelf
		}
		if !ascii {
			text, _ = m.charset.NewDecoder().Bytes(text)
		}
	}
	if !utf8.Valid(text) {
		m.fault = notUTF8
	}
	return text
}

// field gives a field as it stands, nil where the segment has none.
func (s *segment) field(n int) []byte {
	if s == nil || n >= len(s.fields) {
		return nil
	}
	return s.fields[n]
}

// repetitions parts a field.
func (m *message) repetitions(field []byte) [][]byte {
	if len(field) == 0 {
		return nil
	}
	if m.repetition == 0 {
		return [][]byte{field}
	}
	return bytes.Split(field, []byte{m.repetition})
}

// first gives the first repetition of a field.
func (m *message) first(field []byte) []byte {
	if m.repetition == 0 {
		return field
	}
	first, _, _ := bytes.Cut(field, []byte{m.repetition})
	return first
}

// part gives a component and subcomponent, 1-based, of a field's first
// repetition, as text.
func (m *message) part(field []byte, component, sub int) []byte {
	return m.text(nth(nth(m.first(field), m.component, component), m.sub, sub))
}

// nth gives the nth part, 1-based, of text.
func nth(text []byte, separator byte, n int) []byte {
	if separator == 0 {
		if n == 1 {
			return text
		}
		return nil
	}
	for ; n > 1; n-- {
		i := bytes.IndexByte(text, separator)
		if i < 0 {
			return nil
		}
		text = text[i+1:]
	}
	if i := bytes.IndexByte(text, separator); i >= 0 {
		text = text[:i]
	}
	return text
}

// text trims and unescapes. Two double quotes say that a value is deleted: they
// are as empty.
func (m *message) text(raw []byte) []byte {
	raw = bytes.TrimSpace(raw)
	if len(raw) == 2 && raw[0] == '"' && raw[1] == '"' {
		return nil
	}
	if m.escape == 0 || bytes.IndexByte(raw, m.escape) < 0 {
		return raw
	}
	return bytes.TrimSpace(m.unescape(raw))
}

// unescape replaces the escape sequences of chapter 2. What is no sequence
// stays as it is written.
func (m *message) unescape(raw []byte) []byte {
	out := make([]byte, 0, len(raw))
	for len(raw) > 0 {
		i := bytes.IndexByte(raw, m.escape)
		if i < 0 {
			break
		}
		out = append(out, raw[:i]...)
		raw = raw[i:]
		end := bytes.IndexByte(raw[1:], m.escape)
		if end < 0 {
			break
		}
		meaning, known := m.meaning(raw[1 : 1+end])
		if !known {
			// The second sign may open a sequence of its own.
			out = append(out, raw[:1+end]...)
			raw = raw[1+end:]
			continue
		}
		out = append(out, meaning...)
		raw = raw[2+end:]
	}
	return append(out, raw...)
}

// meaning gives what stands between two escape signs as text.
func (m *message) meaning(sequence []byte) ([]byte, bool) {
	switch string(sequence) {
	case "F":
		return []byte{m.field}, true
	case "S":
		return []byte{m.component}, m.component != 0
	case "T":
		return []byte{m.sub}, m.sub != 0
	case "R":
		return []byte{m.repetition}, m.repetition != 0
	case "E":
		return []byte{m.escape}, true
	case "P":
		return []byte{m.truncation}, m.truncation != 0
	case "H", "N": // Highlighting.
		return nil, true
	}
	if len(sequence) > 1 && sequence[0] == 'X' {
		return m.hexadecimal(sequence[1:])
	}
	if len(sequence) > 2 && sequence[0] == '.' {
		switch string(sequence[:3]) {
		case ".br", ".sp", ".ce":
			return []byte{' '}, true
		case ".fi", ".nf", ".in", ".ti", ".sk":
			return nil, true
		}
	}
	return nil, false
}

// hexadecimal gives bytes written as digits, which must be text.
func (m *message) hexadecimal(digits []byte) ([]byte, bool) {
	bytes := make([]byte, hex.DecodedLen(len(digits)))
	if _, err := hex.Decode(bytes, digits); err != nil {
		return nil, false
	}
	if m.charset != nil {
		bytes, _ = m.charset.NewDecoder().Bytes(bytes)
	}
	return bytes, utf8.Valid(bytes)
}
