package normalise

import (
	"fmt"
	"math"

	"thawline/internal/contract"
)

// kindOf fills the coded column by which rows are set aside. It is false where
// the row is set aside; an empty cell rejects it.
func (b *Batch) kindOf(column string, unit []byte) (index int, stays bool) {
	i := b.m.at[column]
	raw := b.text(i)
	if len(raw) == 0 {
		b.missing(column)
		return -1, true
	}
	index, known := b.meant(i, raw, unit)
	if !known {
		b.leave(raw, unit)
		return -1, false
	}
	if index >= 0 {
		b.set(i, b.m.codes[i].words[index])
	}
	return index, true
}

// meant finds what a code means by which rows are set aside: by the map and the
// words of the contract, else as a code of LOINC, else as the format says of
// what is in no map. Where it contradicts itself the row is at fault, and the
// index -1.
func (b *Batch) meant(column int, raw, unit []byte) (index int, known bool) {
	if index, known = b.code(column, raw); known {
		return index, true
	}
	loinc := b.beside(b.m.loincCell)
	if len(loinc) == 0 {
		loinc = raw
	} else if index, known = b.code(column, loinc); known {
		return index, true
	}
	if b.listed(raw) {
		return -1, false
	}
	if index, known, says := b.byLOINC(column, loinc, b.beside(b.m.namesCell), unit); known {
		if says != "" {
			b.reject(b.m.columns[column].Name, loinc, reasonLOINC, loincs[string(loinc)].word, says)
			index = -1
		}
		return index, true
	}
	if word := b.beside(b.m.elseCell); len(word) > 0 {
		return b.code(column, word)
	}
	return -1, false
}

func (m *Mapper) prepareMeasures() {
	m.add = (*Batch).measure
	m.prepareQuantities(contract.Measures.Column("kind").Codes)
}

func (b *Batch) measure() {
	m := b.m
	kind, stays := b.kindOf("kind", b.text(m.at["unit_raw"]))
	if !stays {
		return
	}
	b.common()
	if l, known := loincs[string(b.beside(m.loincCell))]; known && l.method != "" && !b.row.has(m.at["method"]) {
		b.set(m.at["method"], []byte(l.method))
	}
	b.readTimes(0)
	b.putTimes()
	r := b.written()
	v, ok := b.decimal(r.column, r.text)
	switch {
	case len(r.text) == 0:
		b.missing("value")
	case !ok:
		why, part := b.whyNot(r.column, r.text)
		if why == nil {
			why = reasonNoNumber
		}
		b.reject("value", r.text, why, part)
	case kind >= 0:
		if v, ok := b.convert(kind, v, r); ok {
			if t, fits := thousandths(v); fits {
				b.setInt(m.at["value"], t)
			}
		}
	}
	if b.done() {
		b.keep(m.table.Name)
	}
}

func (m *Mapper) prepareEvents() {
	m.add = (*Batch).event
	m.order = [][2]int{{m.timeIndex("at"), m.timeIndex("until")}}
}

func (b *Batch) event() {
	m := b.m
	kind, stays := b.kindOf("kind", nil)
	if !stays {
		return
	}
	b.common()
	const at, until = 0, 1
	b.readTimes(at)
	b.notBefore(until, at, reasonBefore, "at")
	b.putTimes()
	if kind >= 0 {
		b.detail(contract.Events.Column("kind").Codes[kind])
	}
	if b.done() {
		b.keep(m.table.Name)
	}
}

// detail fills detail by the words of its kind. A diagnosis keeps any other
// word as a raw code; of another kind such a word is null and listed.
func (b *Batch) detail(kind string) {
	column, rawColumn := b.m.at["detail"], b.m.at["detail_raw"]
	own, raw := b.text(column), b.text(rawColumn)
	if len(raw) == 0 {
		raw = own
	}
	if len(raw) == 0 {
		return
	}
	b.set(rawColumn, raw)
	if len(own) == 0 {
		own = raw
	}
	if i, known := b.code(column, own); known {
		word := b.m.codes[column].words[i]
		for _, w := range contract.EventDetails[kind] {
			if w == string(word) {
				b.set(column, word)
				return
			}
		}
	}
	if kind == "diagnosis" {
		b.set(column, own)
		return
	}
	b.unknownWord(column, own)
}

func (m *Mapper) prepareMedicines() { m.add = (*Batch).medicine }

func (b *Batch) medicine() {
	if _, stays := b.kindOf("medicine", nil); !stays {
		return
	}
	b.common()
	b.readTimes(0)
	b.putTimes()
	if b.done() {
		b.keep(b.m.table.Name)
	}
}

func (m *Mapper) preparePatients() { m.add = (*Batch).patient }

func (b *Batch) patient() {
	b.common()
	b.birth()
	if b.done() {
		b.keep(b.m.table.Name)
	}
}

// birth fills birth_date; a time of day beside it does not count.
func (b *Batch) birth() {
	column := b.m.at["birth_date"]
	raw := b.text(column)
	if len(raw) == 0 {
		return
	}
	w, ok := b.read(raw)
	if !ok {
		b.doubt("birth_date", raw, "dropped", reasonNoDate)
		return
	}
	day := daysOf(w.year, w.month, w.day)
	switch {
	case w.year < 1900:
		b.doubt("birth_date", raw, "suspect", reasonBefore1900)
	case b.m.dated && b.midnight(day) > b.m.fileEnd:
		b.doubt("birth_date", raw, "suspect", reasonLate)
	default:
		b.setInt(column, day)
	}
}

func (m *Mapper) prepareActivity() { m.add = (*Batch).activity }

func (b *Batch) activity() {
	m := b.m
	if _, stays := b.kindOf("measure", nil); !stays {
		return
	}
	b.common()
	if raw := b.text(m.at["month"]); len(raw) == 0 {
		b.missing("month")
	} else if isMonth(raw) {
		b.set(m.at["month"], raw)
	} else if w, ok := b.read(raw); ok {
		b.set(m.at["month"], fmt.Appendf(nil, "%04d-%02d", w.year, w.month))
	} else {
		b.reject("month", raw, reasonNoMonth)
	}
	b.counted()
	if b.done() {
		b.keep(m.table.Name)
	}
}

// counted fills the count of activity. Counts are large, and their thousands are
// often parted: without a stated mark 1.214 is no number here.
func (b *Batch) counted() {
	column := b.m.at["count"]
	raw := b.text(column)
	if len(raw) == 0 {
		b.missing("count")
		return
	}
	n, f, ok := parseNumber(raw, b.m.mark)
	measure := b.row.slots[b.m.at["measure"]].text
	switch {
	case !ok || f == formPoint:
		why, part := b.whyNot(column, raw)
		if why == nil {
			why = reasonNoCount
		}
		b.reject("count", raw, why, part)
	case n < 0:
		b.reject("count", raw, reasonNoCount)
	case n != math.Trunc(n) && b.row.has(b.m.at["measure"]) && string(measure) != "bed_days":
		// Half a day in a bed is one, half an operation is none.
		b.reject("count", raw, reasonFraction, string(measure))
	default:
		b.row.putReal(column, n)
	}
}

// isMonth reports whether b is a month written YYYY-MM.
func isMonth(b []byte) bool {
	_, ok1 := two(b, 0)
	_, ok2 := two(b, 2)
	month, ok3 := two(b, 5)
	return len(b) == 7 && ok1 && ok2 && ok3 && b[4] == '-' && month >= 1 && month <= 12
}
