package xlsx

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"io"
)

// mostShared is how many bytes the shared strings of a workbook may have: they
// are the one thing of it that stays in memory.
const mostShared = 256 << 20

// shared is the table of strings that cells point into (18.4).
type shared struct {
	text []byte
	ends []uint32
}

func (s *shared) at(i int) ([]byte, bool) {
	if i < 0 || i >= len(s.ends) {
		return nil, false
	}
	from := uint32(0)
	if i > 0 {
		from = s.ends[i-1]
	}
	return s.text[from:s.ends[i]:s.ends[i]], true
}

func (p *pack) sharedStrings(part *zip.File) (*shared, error) {
	r, err := p.open(part)
	if err != nil {
		return nil, err
	}
	defer r.close()
	table := &shared{}
	x := xml.NewDecoder(r)
	for {
		token, err := x.RawToken()
		if err == io.EOF {
			return table, nil
		}
		if err != nil {
			return nil, p.damage(err)
		}
		if start, ok := token.(xml.StartElement); ok && start.Name.Local == "si" {
			if table.text, err = appendString(table.text, x, "si"); err != nil {
				return nil, p.damage(err)
			}
			if len(table.text) > mostShared {
				return nil, p.fault("found a spreadsheet with over 256 MB of text: export it as CSV, or in smaller files")
			}
			table.ends = append(table.ends, uint32(len(table.text)))
		}
	}
}

// appendString appends the text of a string item up to its end: its runs one
// after the other, without how they are to be spoken (18.4.6 rPh).
func appendString(b []byte, x *xml.Decoder, end string) ([]byte, error) {
	from, in, spoken := len(b), false, false
	for {
		token, err := x.RawToken()
		if err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			return b, err
		}
		switch t := token.(type) {
		case xml.StartElement:
			in = in || t.Name.Local == "t"
			spoken = spoken || t.Name.Local == "rPh"
		case xml.CharData:
			if in && !spoken {
				b = append(b, t...)
			}
		case xml.EndElement:
			switch t.Name.Local {
			case "t":
				in = false
			case "rPh":
				spoken = false
			case end:
				return unescape(b, from), nil
			}
		}
	}
}

// unescape turns _xHHHH_ from b[from:] on into the character that XML cannot
// hold (ECMA-376 part 1, 22.9.2.19), in place.
func unescape(b []byte, from int) []byte {
	text := b[from:]
	if !bytes.Contains(text, []byte("_x")) {
		return b
	}
	to := 0
	for i := 0; i < len(text); {
		if len(text)-i >= 7 && text[i] == '_' && text[i+1] == 'x' && text[i+6] == '_' {
			if r, ok := hex4(text[i+2 : i+6]); ok {
				to += copy(text[to:], string(r))
				i += 7
				continue
			}
		}
		text[to] = text[i]
		to++
		i++
	}
	return b[:from+to]
}

func hex4(b []byte) (rune, bool) {
	var r rune
	for _, c := range b {
		switch {
		case c >= '0' && c <= '9':
			r = r<<4 | rune(c-'0')
		case c|0x20 >= 'a' && c|0x20 <= 'f':
			r = r<<4 | rune(c|0x20-'a'+10)
		default:
			return 0, false
		}
	}
	// Half a pair of surrogates is no character, and NUL is none in a record.
	return r, r != 0 && (r < 0xd800 || r > 0xdfff)
}
