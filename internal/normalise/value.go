package normalise

import (
	"bytes"
	"fmt"
	"strings"
	"unicode"

	"thawline/internal/contract"
	"thawline/internal/site"
)

// quantity is what is known of a test or of a kind of measure.
type quantity struct {
	name string
	// low and high are the ends of what is believed, ends allowed, in the
	// contract's unit.
	low, high float64
	// limits says them with their unit, for a person.
	limits string
	// stated is the conversion of rows without a unit, where there is one.
	stated    site.Conversion
	isStated  bool
	canonical bool // without a unit the value is in the contract's: INR, ratios
}

// believed holds the ends of what is believed, in the contract's units.
var believed = map[string][2]float64{
	"inr": {0.5, 30}, "pt_ratio": {0.3, 30}, "aptt_ratio": {0.3, 30}, "pt_s": {5, 300}, "aptt_s": {10, 400}, "viscoelastic": {10, 3600},
	"fibrinogen": {0, 20}, "hb": {10, 260}, "platelets": {0, 3000}, "hct": {0.05, 0.80}, "weight": {0.3, 400}, "height": {20, 250},
}

type unitAnswer struct {
	conversion site.Conversion
	known      bool
}

// prepareQuantities sets up the tests or kinds of measure in the given order.
func (m *Mapper) prepareQuantities(names []string) {
	m.value, m.valueRaw, m.unitRaw = m.index("value"), m.index("value_raw"), m.index("unit_raw")
	for _, name := range names {
		unit := contract.TestUnits[name]
		if unit == "" {
			unit = contract.MeasureUnits[name]
		}
		q := quantity{name: name, low: believed[name][0], high: believed[name][1], canonical: name == "inr" || name == "pt_ratio" || name == "aptt_ratio"}
		if unit != "1" {
			unit = " " + unit
		} else {
			unit = "" // A ratio has none.
		}
		q.limits = fmt.Sprintf("%g to %g%s", q.low, q.high, unit)
		if stated := m.feed.Units[name]; stated != "" {
			q.stated, q.isStated = site.UnitOf(name, stated)
		}
		m.quantities = append(m.quantities, q)
	}
}

// writtenUnit is a unit as written, and what it means.
type writtenUnit struct {
	text []byte
	unitAnswer
}

// conversion looks up a unit as written for a quantity, which most rows write as
// the one before did.
func (b *Batch) conversion(q int, unit []byte) (site.Conversion, bool) {
	last := &b.lastUnit[q]
	if last.text == nil || !bytes.Equal(last.text, unit) {
		last.conversion, last.known = b.otherUnit(q, unit)
		last.text = append(last.text[:0], unit...)
	}
	return last.conversion, last.known
}

func (b *Batch) otherUnit(q int, unit []byte) (site.Conversion, bool) {
	if b.units[q] == nil {
		b.units[q] = map[string]unitAnswer{}
	}
	if a, seen := b.units[q][string(unit)]; seen {
		return a.conversion, a.known
	}
	text := string(unit)
	if mapped := b.m.feed.Codes["unit_raw"][strings.ToLower(strings.TrimSpace(text))]; mapped != "" {
		text = mapped
	}
	c, known := site.UnitOf(b.m.quantities[q].name, text)
	if len(b.units[q]) < 1000 {
		b.units[q][string(unit)] = unitAnswer{c, known}
	}
	return c, known
}

// reading is a value as a file writes it.
type reading struct {
	// text is the cell; own says that it is the canonical column value, whose
	// unit is the contract's where none is written.
	text []byte
	own  bool
	unit []byte
	// column is the one of text.
	column int
}

// written chooses between value_raw and value and fills the raw columns with
// what was written.
func (b *Batch) written() reading {
	m := b.m
	raw, own := b.text(m.valueRaw), b.text(m.value)
	r := reading{text: raw, unit: b.text(m.unitRaw), column: m.valueRaw}
	if len(raw) == 0 {
		r.text, r.own, r.column = own, true, m.value
	}
	if len(r.text) > 0 {
		b.set(m.valueRaw, r.text)
	}
	if len(r.unit) > 0 {
		b.set(m.unitRaw, r.unit)
	}
	return r
}

// convert brings a number into the contract's unit and asks the limits. It is
// false where the value is dropped or suspect, which is then told.
func (b *Batch) convert(q int, v float64, r reading) (float64, bool) {
	quantity := &b.m.quantities[q]
	c := site.Conversion{Times: 1, Over: 1}
	switch {
	case len(r.unit) > 0:
		var known bool
		if c, known = b.conversion(q, r.unit); !known {
			b.count(countWrongUnit)
			b.doubt("unit_raw", r.unit, "dropped", reasonWrongUnit, quantity.name)
			return 0, false
		}
	case quantity.isStated:
		c = quantity.stated
	case quantity.canonical || r.own:
	default:
		// A file with both columns says its value in the contract's unit too.
		_, text := boundOf(b.text(b.m.value))
		own, ok := b.decimal(b.m.value, text)
		if !ok {
			b.count(countNoUnit)
			b.doubt("value", r.text, "dropped", reasonNoUnit, quantity.name)
			return 0, false
		}
		v = own
	}
	v = round9(v * c.Times / c.Over)
	if !(v >= quantity.low && v <= quantity.high) {
		b.doubt("value", r.text, "suspect", reasonLimits, quantity.limits, quantity.name)
		return 0, false
	}
	return v, true
}

// Words that laboratories write where a number would stand (common practice),
// by index of labs.no_value's codes: unclottable clotted haemolysed
// insufficient pending cancelled other.
var noValueWords = map[string]int{
	"unclottable": 0, "no clot": 0, "no clot detected": 0, "not clottable": 0, "incoagulable": 0, "no coagulation": 0, "does not clot": 0,
	"clotted": 1, "sample clotted": 1, "clotted sample": 1, "specimen clotted": 1, "clotted specimen": 1, "clot in sample": 1, "clots": 1,
	"haemolysed": 2, "hemolysed": 2, "hemolyzed": 2, "haemolyzed": 2, "sample haemolysed": 2, "haemolysed sample": 2, "specimen hemolyzed": 2, "hemolyzed specimen": 2,
	"insufficient": 3, "insufficient sample": 3, "sample insufficient": 3, "insufficient specimen": 3, "quantity not sufficient": 3, "qns": 3, "underfilled": 3, "short sample": 3,
	"pending": 4, "to follow": 4, "in progress": 4, "awaited": 4,
	"cancelled": 5, "canceled": 5, "test cancelled": 5, "deleted": 5, "entered in error": 5,
}

const noValueOther, noValueUnclottable, noValueCancelled = 6, 0, 5

// wordOf gives the code of a result that holds no number. It does not fail:
// any other text is other.
func (b *Batch) wordOf(column int, text []byte) int {
	if i, known := b.code(column, text); known {
		return i
	}
	b.scratch = fold(b.scratch[:0], text)
	word := strings.Trim(string(b.scratch), " *.!-()[]")
	if i, known := noValueWords[word]; known {
		return i
	}
	b.unknownText(column, text)
	return noValueOther
}

// What is listed of texts that stand in place of a number: those that may be
// words of the laboratory's own, as far as a batch has few. What is long or has
// many digits is a remark, or no result at all.
const (
	longestText = 40
	mostDigits  = 3
	mostTexts   = 200
)

// unknownText counts a text whose meaning nothing tells: by itself, so that the
// site may map it, or as one of many.
func (b *Batch) unknownText(column int, text []byte) {
	length, digits := 0, 0
	for _, r := range string(text) {
		length++
		if unicode.IsDigit(r) {
			digits++
		}
	}
	_, there := b.unmapped[column][string(text)]
	if length > longestText || digits > mostDigits || !there && len(b.unmapped[column]) >= mostTexts {
		b.count(countTexts)
		return
	}
	b.unknownWord(column, text)
}
