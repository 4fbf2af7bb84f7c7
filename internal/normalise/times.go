package normalise

import (
	"bytes"
	"time"

	"thawline/internal/contract"
)

// instant is one time of the row at hand, in microseconds of UTC.
type instant struct {
	raw []byte
	// known says that there is a time; wrong, why a written one could not be read.
	known bool
	wrong *reason
	// lo and hi are its first and last microsecond: they differ for a date alone.
	lo, hi   int64
	dateOnly bool
	// later is the second reading of a time in the hour that the clock repeats.
	later   int64
	doubled bool
}

// read takes a cell apart.
func (b *Batch) read(raw []byte) (written, bool) {
	const date = len("2025-07-01")
	if len(raw) > date && bytes.Equal(raw[:date], b.isoDate) {
		// The day of the time before: rows stand in the order of time.
		if w := b.isoDay; w.parseTime(raw[date:]) {
			return w, true
		}
	}
	if day, ok := parseISODate(raw); ok {
		if w := day; len(raw) == date || w.parseTime(raw[date:]) {
			b.isoDate, b.isoDay = append(b.isoDate[:0], raw[:date]...), day
			return w, true
		}
	}
	bare := false
	for i := range b.m.layouts {
		if w, ok := b.m.layouts[i].parse(raw); ok {
			return w, true
		}
		bare = bare || b.m.layouts[i].bare
	}
	// Where the site states which digits are the day, no others are.
	if bare {
		return written{}, false
	}
	return parseBasic(raw)
}

// readTimes reads every time of the row, settles the repeated hour by the
// row's own order, and drops what cannot be read or came after the file. A
// fault of a time in required rejects the row.
func (b *Batch) readTimes(required ...int) {
	b.repeated = 0
	for i, column := range b.m.times {
		t := &b.times[i]
		*t = instant{raw: b.text(column)}
		if len(t.raw) > 0 {
			b.readTime(t)
		}
	}
	if b.repeated > 0 {
		b.settle()
	}
	for i, column := range b.m.times {
		t := &b.times[i]
		if t.known && b.m.dated && t.lo > b.m.nameEnd && !b.mayBeAhead(column) {
			if t.lo > b.m.fileEnd {
				b.lose(i, "suspect", required, reasonLate)
				continue
			}
			b.count(countAfterMonth)
		}
		if t.wrong != nil {
			b.lose(i, "dropped", required, t.wrong)
		}
	}
	for _, i := range required {
		if i >= 0 && len(b.times[i].raw) == 0 {
			b.missing(b.m.columns[b.m.times[i]].Name)
		}
	}
}

func (b *Batch) readTime(t *instant) {
	w, ok := b.read(t.raw)
	if !ok {
		t.wrong = reasonUnread
		return
	}
	switch {
	case !w.hasTime:
		day := daysOf(w.year, w.month, w.day)
		t.known, t.dateOnly, t.lo, t.hi = true, true, b.midnight(day), b.midnight(day+1)-1
	case w.hasOffset:
		t.known = true
		t.lo = (w.wall()-w.offset)*second + w.us%second
		t.hi = t.lo
	default:
		first, later, n := b.m.clock.instants(w.wall(), &b.hint)
		if n == 0 {
			b.count(countSkipped)
			t.wrong = reasonSkipped
			return
		}
		t.known = true
		t.lo = first*second + w.us%second
		t.hi = t.lo
		if n > 1 {
			b.count(countRepeated)
			b.repeated++
			t.doubled, t.later = true, later*second+w.us%second
		}
	}
	if t.lo < earliest+dayUS || t.hi > latest-dayUS {
		b.edge(t)
	}
}

// earliest and latest are the ends of the calendar that the engine can print and
// read again: the years 1 to 9999.
var (
	earliest = time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC).UnixMicro()
	latest   = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC).UnixMicro() - 1
)

// edge looks at a time at an end of the calendar, which UTC and the hospital's
// clock must both hold.
func (b *Batch) edge(t *instant) {
	offset := b.m.clock.offsetAt(floorDiv(t.lo, second), &b.hint) * second
	if min(t.lo, t.lo+offset) < earliest || max(t.lo, t.lo+offset) > latest {
		t.known, t.wrong = false, reasonCalendar
		return
	}
	t.hi = min(t.hi, latest) // Of a last day alone: an expiry that never comes.
}

// midnight remembers the days of the export: a date alone is common, the
// library's calendar slow.
func (b *Batch) midnight(day int64) int64 {
	us, known := b.midnights[day]
	if !known {
		us = b.m.clock.midnight(day)
		if len(b.midnights) < 100_000 {
			b.midnights[day] = us
		}
	}
	return us
}

// settle chooses among the readings of times in the repeated hour: the least
// that keeps the row's own order of events. Each time starts at its earlier
// reading and moves to the later one only where an event before it asks for
// that; so what is found is the least there is. A pair that no reading puts in
// order says nothing about the others; where the rest cannot all be kept, every
// time stays at its earlier reading.
func (b *Batch) settle() {
	var later [16]bool
	lo := func(i int) int64 {
		if later[i] {
			return b.times[i].later
		}
		return b.times[i].lo
	}
	hi := func(i int) int64 {
		if later[i] {
			return b.times[i].later
		}
		return b.times[i].hi
	}
	for moved := true; moved; {
		moved = false
		for _, pair := range b.m.order {
			before, after := pair[0], pair[1]
			x, y := &b.times[before], &b.times[after]
			if !x.known || !y.known || lo(before) <= hi(after) {
				continue
			}
			last := y.hi
			if y.doubled {
				last = y.later
			}
			switch {
			case x.lo > last: // In no reading.
			case y.doubled && !later[after] && lo(before) <= y.later:
				later[after], moved = true, true
			default:
				return
			}
		}
	}
	for i := range b.times {
		if later[i] {
			b.times[i].lo, b.times[i].hi = b.times[i].later, b.times[i].later
		}
	}
}

// mayBeAhead says that a time may come after the file was made: an expiry, and
// a procedure that is planned.
func (b *Batch) mayBeAhead(column int) bool {
	switch b.m.columns[column].Name {
	case "expires_at":
		return true
	case "at", "until":
		if b.m.table != contract.Events {
			return false
		}
		kind := b.m.at["kind"]
		return b.row.has(kind) && string(b.row.slots[kind].text) == "procedure"
	}
	return false
}

// lose takes out a time that cannot be read, or that reads well but cannot be.
func (b *Batch) lose(i int, severity string, required []int, why *reason, parts ...string) {
	t := &b.times[i]
	t.known = false
	if t.wrong == nil {
		t.wrong = why
	}
	name := b.m.columns[b.m.times[i]].Name
	for _, r := range required {
		if r == i {
			b.reject(name, t.raw, why, parts...)
			return
		}
	}
	b.doubt(name, t.raw, severity, why, parts...)
}

// Inversions of up to tolerance are two clocks that differ, not a fault.
const tolerance = 10 * minute

// notBefore holds time i to be at or after the anchor: a small inversion is set
// equal, a larger one is suspect. A date alone is at fault only where all of
// its day is, and is never set equal.
func (b *Batch) notBefore(i, anchor int, why *reason, parts ...string) {
	t, a := &b.times[i], &b.times[anchor]
	if !t.known || !a.known || t.hi >= a.lo {
		return
	}
	b.invert(i, a, a.lo-t.hi, why, parts)
}

// notAfter holds time i to be at or before the anchor.
func (b *Batch) notAfter(i, anchor int, why *reason, parts ...string) {
	t, a := &b.times[i], &b.times[anchor]
	if !t.known || !a.known || t.lo <= a.hi {
		return
	}
	b.invert(i, a, t.lo-a.hi, why, parts)
}

func (b *Batch) invert(i int, anchor *instant, by int64, why *reason, parts []string) {
	t := &b.times[i]
	if by <= tolerance && !t.dateOnly && !anchor.dateOnly {
		t.lo, t.hi = anchor.lo, anchor.hi
		b.count(countSetEqual)
		return
	}
	b.lose(i, "suspect", nil, why, parts...)
}

// within holds time i to lie at most before and after microseconds off the anchor.
func (b *Batch) within(i, anchor int, before, after int64, why *reason, parts ...string) {
	t, a := &b.times[i], &b.times[anchor]
	if t.known && a.known && (t.hi < a.lo-before || t.lo > a.hi+after) {
		b.lose(i, "suspect", nil, why, parts...)
	}
}

// putTimes fills the columns of the times and the list of those told as a date
// alone. An expiry told so holds to the end of its day.
func (b *Batch) putTimes() {
	b.dates = b.dates[:0]
	for i, column := range b.m.times {
		t := &b.times[i]
		if !t.known {
			continue
		}
		at := t.lo
		if t.dateOnly {
			name := b.m.columns[column].Name
			if name == "expires_at" {
				at = t.hi
			}
			if len(b.dates) > 0 {
				b.dates = append(b.dates, ' ')
			}
			b.dates = append(b.dates, name...)
		}
		b.setInt(column, at)
	}
	if len(b.dates) > 0 {
		b.set(b.m.dateOnly, b.dates)
	}
}

// needTime treats a start or an end told as a date alone as absent.
func (b *Batch) needTime(i int, required bool) {
	t := &b.times[i]
	if !t.known || !t.dateOnly {
		return
	}
	t.known = false
	b.count(countDateDropped)
	if required {
		b.reject(b.m.columns[b.m.times[i]].Name, t.raw, reasonNoTime)
	}
}
