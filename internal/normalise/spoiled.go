package normalise

import (
	"bytes"
	"slices"

	"thawline/internal/contract"
	"thawline/internal/site"
)

// sheetErrors are the errors that a cell can hold: ECMA-376 part 1, 18.17.3, and
// those that spreadsheet programs have added since (common practice).
var sheetErrors = [][]byte{
	[]byte("#DIV/0!"), []byte("#N/A"), []byte("#NAME?"), []byte("#NULL!"), []byte("#NUM!"), []byte("#REF!"), []byte("#VALUE!"), []byte("#GETTING_DATA"),
	[]byte("#SPILL!"), []byte("#CALC!"), []byte("#FIELD!"), []byte("#BLOCKED!"), []byte("#CONNECT!"), []byte("#UNKNOWN!"), []byte("#BUSY!"),
}

// spoiled is a column whose cell was emptied, and why.
type spoiled struct {
	column int
	reason *reason
}

// isHeader reports whether the row at hand is the header again.
func (b *Batch) isHeader() bool {
	for i, cell := range b.cells {
		if !bytes.Equal(cell, b.m.names[i]) {
			return false
		}
	}
	return true
}

// empty takes out cells that hold no value but what a spreadsheet made of one:
// a wrong identifier would join the records of different people. A row that
// needs the cell is rejected for that reason; another keeps a note.
func (b *Batch) empty() {
	for column, cell := range b.m.cell {
		if cell < 0 || len(b.cells[cell]) == 0 {
			continue
		}
		text := b.cells[cell]
		var why *reason
		switch {
		case text[0] == '#' && slices.ContainsFunc(sheetErrors, func(e []byte) bool { return bytes.Equal(e, text) }):
			why = reasonSheetError
		case b.m.identifies[column] && roundedNumber(text):
			why = reasonShortened
		default:
			continue
		}
		b.doubt(b.m.columns[column].Name, text, "dropped", why)
		b.cells[cell] = nil
		for other, same := range b.m.cell {
			if same == cell {
				b.spoiled = append(b.spoiled, spoiled{other, why})
			}
		}
	}
}

// spoiltBy says why the cell of a column was emptied, or nil: something was
// written there, which is not the same as nothing.
func (b *Batch) spoiltBy(column int) *reason {
	for _, s := range b.spoiled {
		if s.column == column {
			return s.reason
		}
	}
	return nil
}

// rejectEmpty rejects the row for a column that it needs and that is empty.
func (b *Batch) rejectEmpty(column string) {
	for _, s := range b.spoiled {
		if name := b.m.columns[s.column].Name; name == column || name == site.RawOf[column] {
			b.reject(column, nil, s.reason)
			return
		}
	}
	b.reject(column, nil, reasonEmpty, b.m.table.Name)
}

// roundedNumber reports whether b is a number such as 1.23457E+11.
func roundedNumber(b []byte) bool {
	if len(b) < 4 || b[1] != '.' && b[1] != ',' && b[1] != 'E' && b[1] != 'e' {
		return false // Nearly every cell.
	}
	e := bytes.IndexByte(b, '+')
	if e < 2 || b[e-1] != 'E' && b[e-1] != 'e' || len(b) == e+1 {
		return false
	}
	point := false
	for i, c := range b[:e-1] {
		switch {
		case c == '.' || c == ',':
			if point || i != 1 {
				return false
			}
			point = true
		case c < '0' || c > '9':
			return false
		}
	}
	return !bytes.ContainsFunc(b[e+1:], func(r rune) bool { return r < '0' || r > '9' }) && (point || e == 2)
}

// identifying lists which columns hold identifiers as text.
func identifying(columns []contract.Column) []bool {
	all := make([]bool, len(columns))
	for i, c := range columns {
		all[i] = c.Identifies && c.Kind == contract.Text
	}
	return all
}
