package xlsx

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"iter"
	"strconv"
	"strings"

	"thawline/internal/read/source"
)

// Limits of a sheet (as spreadsheet programs have them), and how many bytes of
// text a stretch aims at.
const (
	mostRows     = 1 << 20
	mostColumns  = 1 << 14
	stretchBytes = 1 << 20
)

// sheet is a worksheet on its way (18.3.1.99), read from its start to its end.
type sheet struct {
	pack  *pack
	part  *part
	xml   *xml.Decoder
	cells *cells
	// width is the number of the header's columns, 0 while it is not known.
	width int
	// row is the number of the last row seen, 1-based.
	row int64
	// beyond counts cells right of the header, merged those over several rows.
	beyond, merged int64
	headerRow      int64
	// stated is the row that is stated for the header, above counts rows before it.
	stated, above int64
	ended         bool
}

func openSheet(p *pack, f *zip.File, c *cells) (*sheet, error) {
	r, err := p.open(f)
	if err != nil {
		return nil, err
	}
	return &sheet{pack: p, part: r, xml: xml.NewDecoder(r), cells: c}, nil
}

// fault is a fault on the row at hand.
func (s *sheet) fault(says string) error {
	return &source.Error{Name: s.pack.name, Place: s.row, Says: says}
}

// broken says what an error of the part means, on the row at hand.
func (s *sheet) broken(err error) error { return source.At(s.pack.damage(err), s.row) }

// header reads the first row that is not blank, or the one that is stated.
func (s *sheet) header(stated int64) ([]string, error) {
	s.stated = stated
	first := &Stretch{}
	found, err := s.next(first)
	for err == nil && found && s.row < stated {
		s.above++
		first = &Stretch{}
		found, err = s.next(first)
	}
	if err == nil && s.above > 0 && (!found || s.row != stated) {
		err = s.fault(source.NoHeader)
	}
	if err != nil || !found {
		return nil, err
	}
	var names []string
	err = first.Rows(func(place int64, cells [][]byte) bool {
		s.headerRow = place
		for _, c := range cells {
			names = append(names, strings.TrimSpace(string(c)))
		}
		return false
	})
	s.width = len(names)
	return names, err
}

// Stretches yields the rows under the header. It can be ranged over once.
func (e *Export) Stretches() iter.Seq2[*Stretch, error] {
	return func(yield func(*Stretch, error) bool) {
		for !e.sheet.ended {
			stretch := &Stretch{}
			for len(stretch.text) < stretchBytes {
				found, err := e.sheet.next(stretch)
				if err != nil {
					yield(nil, err)
					return
				}
				if !found {
					break
				}
			}
			if len(stretch.rows) > 0 && !yield(stretch, nil) {
				return
			}
		}
	}
}

// next adds the next row that is not blank to into; false says that there is none.
func (s *sheet) next(into *Stretch) (bool, error) {
	for !s.ended {
		token, err := s.xml.RawToken()
		if err == io.EOF {
			err = io.ErrUnexpectedEOF // The sheet's own end comes first.
		}
		if err != nil {
			return false, s.broken(err)
		}
		switch t := token.(type) {
		case xml.StartElement:
			if t.Name.Local == "row" {
				if err := s.place(t); err != nil {
					return false, err
				}
				found, err := s.readRow(into)
				if err != nil || found {
					return found, err
				}
			}
		case xml.EndElement:
			if t.Name.Local == "sheetData" {
				return false, s.rest()
			}
		}
	}
	return false, nil
}

// place finds the number of a row: its own, else one after the last.
func (s *sheet) place(start xml.StartElement) error {
	number := s.row + 1
	if text := attribute(start, "r"); text != "" {
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil || n < number || n > mostRows {
			return s.fault("found rows out of order in the sheet: the file is damaged; open it in a spreadsheet program and save it again, or export it as CSV")
		}
		number = n
	}
	s.row = number
	return nil
}

// readRow reads the cells of a row whose start has been read.
func (s *sheet) readRow(into *Stretch) (bool, error) {
	begin, first := len(into.text), len(into.ends)
	blank, column := true, 0
	for {
		token, err := s.xml.RawToken()
		if err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			return false, s.broken(err)
		}
		switch t := token.(type) {
		case xml.StartElement:
			if t.Name.Local != "c" {
				continue
			}
			at := column
			if name := attribute(t, "r"); name != "" {
				at = columnOf(name)
			}
			if at < column || at >= mostColumns {
				return false, s.fault("found cells out of order in the sheet: the file is damaged; open it in a spreadsheet program and save it again, or export it as CSV")
			}
			start := len(into.text)
			into.text, err = s.cells.read(into.text, s.xml, t)
			if err != nil {
				return false, s.broken(err)
			}
			column = at + 1
			empty := len(bytes.TrimSpace(into.text[start:])) == 0
			if s.width > 0 && at >= s.width {
				if !empty {
					s.beyond++
				}
				into.text = into.text[:start]
				continue
			}
			if empty {
				// A header ends at its last name; a row is filled up below.
				into.text = into.text[:start]
				continue
			}
			blank = false
			for len(into.ends)-first < at {
				into.ends = append(into.ends, start)
			}
			into.ends = append(into.ends, len(into.text))
		case xml.EndElement:
			if t.Name.Local != "row" {
				continue
			}
			if blank {
				into.text, into.ends = into.text[:begin], into.ends[:first]
				return false, nil
			}
			for len(into.ends)-first < s.width {
				into.ends = append(into.ends, len(into.text))
			}
			into.rows = append(into.rows, rowAt{s.row, begin, first})
			return true, nil
		}
	}
}

// rest reads what follows the cells: which of them are merged, and the end of
// the part, where its checksum is compared.
func (s *sheet) rest() error {
	s.ended = true
	for {
		token, err := s.xml.RawToken()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return s.broken(err)
		}
		if t, ok := token.(xml.StartElement); ok && t.Name.Local == "mergeCell" {
			from, to, _ := strings.Cut(attribute(t, "ref"), ":")
			if a, b := rowOf(from), rowOf(to); b > a && b > s.headerRow {
				s.merged++
			}
		}
	}
}

func (s *sheet) notes() []string {
	var all []string
	if s.above > 0 {
		all = append(all, source.PassedOver(s.above, s.stated))
	}
	if s.merged > 0 {
		all = append(all, fmt.Sprintf("cells merged over several rows: %d; what they hold stands in the first row alone", s.merged))
	}
	if s.beyond > 0 {
		all = append(all, fmt.Sprintf("cells right of the header, under no name: %d; they are not read", s.beyond))
	}
	return all
}

func attribute(start xml.StartElement, name string) string {
	for _, a := range start.Attr {
		if a.Name.Local == name && a.Name.Space == "" {
			return a.Value
		}
	}
	return ""
}

// columnOf returns the column of a cell's name such as AB12, from 0, or -1.
func columnOf(name string) int {
	n := 0
	for i := 0; i < len(name); i++ {
		c := name[i] | 0x20
		if c < 'a' || c > 'z' {
			break
		}
		if n = n*26 + int(c-'a') + 1; n > mostColumns {
			return -1
		}
	}
	return n - 1
}

// rowOf returns the row of a cell's name, or 0.
func rowOf(name string) int64 {
	n, _ := strconv.ParseInt(strings.TrimLeft(name, "$ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"), 10, 64)
	return n
}

// Stretch is some rows of a sheet.
type Stretch struct {
	text []byte
	// ends holds where each cell ends in text.
	ends []int
	rows []rowAt
}

// rowAt is a row's number in the sheet and where its text and its cells begin.
type rowAt struct {
	place       int64
	text, first int
}

// Rows calls yield for each row with its number in the sheet, until it returns
// false. Every row has as many cells as the header.
func (s *Stretch) Rows(yield func(place int64, cells [][]byte) bool) error {
	var cells [][]byte
	for i, r := range s.rows {
		last := len(s.ends)
		if i+1 < len(s.rows) {
			last = s.rows[i+1].first
		}
		cells = cells[:0]
		from := r.text
		for _, end := range s.ends[r.first:last] {
			cells = append(cells, s.text[from:end:end])
			from = end
		}
		if !yield(r.place, cells) {
			return nil
		}
	}
	return nil
}

// Release gives the memory back.
func (s *Stretch) Release() { *s = Stretch{} }

var errIndex = errors.New("xml: a cell points outside the table of strings")
