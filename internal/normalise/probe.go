package normalise

import (
	"bytes"
	"time"
)

// The readers of single cells, for those who look at an export before a map of
// it is written: what they find is what a Mapper will read.

// Number reads a cell as a result is read: a decimal number, with or without a
// sign of a limit before it, or a flag behind it. limit says that there was one.
func Number(cell []byte) (v float64, limit, ok bool) {
	bound, text := boundOf(trim(cell))
	if bare, both, there := flagged(text, bound); there {
		bound, text = both, bare
	}
	v, _, ok = parseNumber(text, 0)
	return v, bound >= 0, ok
}

// Mark says what a number shows of the mark that parts its decimals.
type Mark int

// The marks: none or no number; a comma or a point that can part nothing but
// decimals, or a point or a comma beside it that can part nothing but thousands;
// a comma or a point that can part either, as in 1,900 and 1.900.
const (
	NoMark Mark = iota
	CommaParts
	PointParts
	CommaOpen
	PointOpen
	// Grouped is a number whose thousands a space or an apostrophe parts.
	Grouped
)

// MarkOf says what a cell shows of the mark of decimals.
func MarkOf(cell []byte) Mark {
	bound, text := boundOf(trim(cell))
	if bare, _, there := flagged(text, bound); there {
		text = bare
	}
	if _, grouped := ungrouped(text); grouped && whyNoNumber(text, 0) != nil {
		return Grouped
	}
	comma, point := bytes.IndexByte(text, ',') >= 0, bytes.IndexByte(text, '.') >= 0
	if !comma && !point {
		return NoMark
	}
	_, byComma := markedNumber(text, ',')
	_, byPoint := markedNumber(text, '.')
	switch {
	case byComma && byPoint && comma:
		return CommaOpen
	case byComma && byPoint:
		return PointOpen
	case byComma:
		return CommaParts
	case byPoint:
		return PointParts
	}
	return NoMark
}

// NoValueWord reports whether a cell is one of the words that laboratories
// write where a number would stand.
func NoValueWord(cell []byte) bool {
	_, known := noValueWords[string(fold(nil, trim(cell)))]
	return known
}

// Donation says whether a cell has the 13-character standard form of a donation
// number; checked, that a check character follows; holds, that it is the one of
// the 13 (ISO/IEC 7064 MOD 37-2).
func Donation(cell []byte) (form, checked, holds bool) {
	number, removed, mismatch := donation(nil, cell, false)
	switch {
	case mismatch:
		return true, true, false
	case removed:
		return true, true, true
	}
	return len(number) == 13 && standard(number), false, false
}

// Wall is a date, or a date and time, as a cell writes it.
type Wall struct {
	Year, Month, Day int
	// Of is the time of day; HasTime says that one was written, HasOffset that
	// an offset from UTC was.
	Of                 time.Duration
	HasTime, HasOffset bool
}

func wallOf(w written) Wall {
	return Wall{w.year, w.month, w.day, time.Duration(w.us) * time.Microsecond, w.hasTime, w.hasOffset}
}

// ReadISO reads a cell in one of the forms of ISO 8601 that are always known.
func ReadISO(cell []byte) (Wall, bool) {
	w, ok := parseISO(trim(cell))
	return wallOf(w), ok
}

// TimeForm is a Go layout, made ready. It does not change and may be shared.
type TimeForm struct{ layout layout }

// NewTimeForm makes a layout of site.yaml ready.
func NewTimeForm(text string) *TimeForm { return &TimeForm{newLayout(text)} }

// Read reads a cell in the layout; a cell that contradicts it is not read.
func (f *TimeForm) Read(cell []byte) (Wall, bool) {
	w, ok := f.layout.parse(trim(cell))
	return wallOf(w), ok
}
