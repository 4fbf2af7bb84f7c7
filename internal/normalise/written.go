package normalise

import (
	"strings"
	"time"
)

// written is a date and time as a file writes it.
type written struct {
	year, month, day int
	// us is the time of day in microseconds.
	us int64
	// hasTime says that a time of day was written, hasOffset an offset from
	// UTC, which is offset seconds.
	hasTime, hasOffset bool
	offset             int64
}

// valid checks the ranges that the digits alone do not.
func (w *written) valid() bool {
	return w.month >= 1 && w.month <= 12 && w.day >= 1 && w.day <= daysIn(w.year, w.month) && w.us < dayUS
}

// wall gives the local time in Unix seconds as if it were UTC.
func (w *written) wall() int64 {
	return daysOf(w.year, w.month, w.day)*24*60*60 + w.us/second
}

func two(b []byte, i int) (int, bool) {
	if i+2 > len(b) || b[i] < '0' || b[i] > '9' || b[i+1] < '0' || b[i+1] > '9' {
		return 0, false
	}
	return int(b[i]-'0')*10 + int(b[i+1]-'0'), true
}

// parseISO reads the extended forms of ISO 8601, which are always known: a date,
// or a date and T or a space and hours, with minutes, seconds, a fraction of them
// and an offset where they are written.
func parseISO(b []byte) (w written, ok bool) {
	if w, ok = parseISODate(b); ok && len(b) > 10 {
		ok = w.parseTime(b[10:])
	}
	return w, ok
}

// parseISODate reads the date with which b begins.
func parseISODate(b []byte) (w written, ok bool) {
	if len(b) < 10 || b[4] != '-' || b[7] != '-' {
		return w, false
	}
	century, ok1 := two(b, 0)
	rest, ok2 := two(b, 2)
	month, ok3 := two(b, 5)
	day, ok4 := two(b, 8)
	if !ok1 || !ok2 || !ok3 || !ok4 {
		return w, false
	}
	w.year, w.month, w.day = century*100+rest, month, day
	return w, w.valid()
}

// parseBasic reads the basic forms of ISO 8601, which have no signs between the
// numbers but the T: 20250701, 20250701T10, 20250701T1030, 20250701T103000. The
// time may have its signs.
func parseBasic(b []byte) (w written, ok bool) {
	const date = len("20250701")
	if len(b) < date {
		return w, false
	}
	extended := [len("2025-07-01T10:30:00")]byte{4: '-', 7: '-', 13: ':', 16: ':'}
	copy(extended[:], b[:4])
	copy(extended[5:], b[4:6])
	copy(extended[8:], b[6:8])
	if w, ok = parseISODate(extended[:10]); !ok || len(b) == date {
		return w, ok
	}
	digits := 0
	for date+1+digits < len(b) && b[date+1+digits] >= '0' && b[date+1+digits] <= '9' {
		digits++
	}
	end := 10
	switch of := b[date+1:]; digits {
	case 6:
		copy(extended[17:], of[4:6])
		end += 3
		fallthrough
	case 4:
		copy(extended[14:], of[2:4])
		end += 3
		fallthrough
	case 2:
		copy(extended[11:], of[:2])
		extended[10] = b[date]
		end += 3
	default:
		return w, false
	}
	if b[date] != 'T' && b[date] != 't' {
		return w, false
	}
	return w, w.parseTime(append(extended[10:end:end], b[date+1+digits:]...))
}

// parseTime reads what stands after the date, to the end of the text.
func (w *written) parseTime(b []byte) bool {
	if len(b) < 3 || b[0] != 'T' && b[0] != 't' && b[0] != ' ' {
		return false
	}
	hours, ok := two(b, 1)
	if !ok || hours > 24 {
		return false
	}
	w.hasTime = true
	w.us = int64(hours) * hour
	b = b[3:]
	if len(b) >= 3 && b[0] == ':' {
		minutes, ok := two(b, 1)
		if !ok || minutes > 59 {
			return false
		}
		w.us += int64(minutes) * minute
		b = b[3:]
		if len(b) >= 3 && b[0] == ':' {
			seconds, ok := two(b, 1)
			if !ok || seconds > 59 {
				return false
			}
			w.us += int64(seconds) * second
			b = b[3:]
			if len(b) > 1 && (b[0] == '.' || b[0] == ',') {
				fraction, n := fraction(b[1:])
				if n == 0 {
					return false
				}
				w.us += fraction
				b = b[1+n:]
			}
		}
	}
	if w.us >= dayUS {
		// 24:00 is the end of the day, and nothing comes after it.
		if w.us > dayUS {
			return false
		}
		w.us = 0
		w.next()
	}
	return w.parseOffset(b)
}

// next is the day after.
func (w *written) next() {
	if w.day++; w.day <= daysIn(w.year, w.month) {
		return
	}
	w.day = 1
	if w.month++; w.month > 12 {
		w.month, w.year = 1, w.year+1
	}
}

// fraction reads digits after the point of a second, as microseconds.
func fraction(b []byte) (us int64, n int) {
	scale := int64(100_000)
	for n < len(b) && b[n] >= '0' && b[n] <= '9' {
		us += int64(b[n]-'0') * scale
		scale /= 10
		n++
	}
	return us, n
}

// parseOffset reads nothing, Z, +01, +0100 or +01:00 to the end of the text.
func (w *written) parseOffset(b []byte) bool {
	if len(b) > 0 && b[0] == ' ' {
		b = b[1:]
		if len(b) == 0 {
			return false
		}
	}
	if len(b) == 0 {
		return true
	}
	w.hasOffset = true
	if len(b) == 1 && (b[0] == 'Z' || b[0] == 'z') {
		return true
	}
	if b[0] != '+' && b[0] != '-' {
		return false
	}
	hours, ok := two(b, 1)
	minutes := 0
	switch {
	case len(b) == 3:
	case len(b) == 5:
		var ok2 bool
		minutes, ok2 = two(b, 3)
		ok = ok && ok2
	case len(b) == 6 && b[3] == ':':
		var ok2 bool
		minutes, ok2 = two(b, 4)
		ok = ok && ok2
	default:
		return false
	}
	w.offset = int64(hours)*3600 + int64(minutes)*60
	if b[0] == '-' {
		w.offset = -w.offset
	}
	return ok && hours <= 18 && minutes <= 59
}

// layout is a Go layout, made ready.
type layout struct {
	text string
	// steps are set where the layout is of digits and signs alone.
	steps              []step
	hasTime, hasOffset bool
	// bare says that its date is digits alone, as that of ISO 8601's basic forms.
	bare bool
}

// step is one part of a layout: a sign to be met, or a number of one or two
// digits (year: four).
type step struct {
	part     byte // 0 for a sign; Y M D h m s
	sign     byte
	min, max int
}

var parts = []struct {
	text string
	step step
}{
	{"2006", step{part: 'Y', min: 4, max: 4}}, {"01", step{part: 'M', min: 2, max: 2}}, {"02", step{part: 'D', min: 2, max: 2}},
	{"15", step{part: 'h', min: 1, max: 2}}, {"04", step{part: 'm', min: 2, max: 2}}, {"05", step{part: 's', min: 2, max: 2}},
	{"1", step{part: 'M', min: 1, max: 2}}, {"2", step{part: 'D', min: 1, max: 2}},
}

func newLayout(text string) layout {
	probe := time.Date(2021, 3, 4, 5, 6, 7, 0, time.UTC)
	l := layout{text: text, hasOffset: strings.Contains(text, "07")}
	l.bare = len(text) >= 8 && strings.Trim(text[:8], "0123456789") == ""
	l.hasTime = probe.Format(text) != probe.Add(time.Hour).Format(text)
	rest := text
next:
	for rest != "" {
		for _, p := range parts {
			if strings.HasPrefix(rest, p.text) {
				l.steps = append(l.steps, p.step)
				rest = rest[len(p.text):]
				continue next
			}
		}
		if !strings.ContainsRune("/-.: T,", rune(rest[0])) {
			// Names of months, PM, offsets, two-digit years: left to the library.
			l.steps = nil
			return l
		}
		l.steps = append(l.steps, step{sign: rest[0]})
		rest = rest[1:]
	}
	return l
}

// parse reads a text in the layout; a text that contradicts it is not read.
func (l *layout) parse(b []byte) (w written, ok bool) {
	if l.steps == nil {
		return l.slow(b)
	}
	for _, s := range l.steps {
		if s.part == 0 {
			if len(b) == 0 || b[0] != s.sign {
				return w, false
			}
			b = b[1:]
			continue
		}
		n, value := 0, 0
		for n < s.max && n < len(b) && b[n] >= '0' && b[n] <= '9' {
			value = value*10 + int(b[n]-'0')
			n++
		}
		if n < s.min {
			return w, false
		}
		b = b[n:]
		switch s.part {
		case 'Y':
			w.year = value
		case 'M':
			w.month = value
		case 'D':
			w.day = value
		case 'h':
			w.us += int64(value) * hour
			if value > 23 {
				return w, false
			}
		case 'm':
			w.us += int64(value) * minute
			if value > 59 {
				return w, false
			}
		case 's':
			w.us += int64(value) * second
			if value > 59 {
				return w, false
			}
			if len(b) > 1 && (b[0] == '.' || b[0] == ',') {
				us, n := fraction(b[1:])
				if n > 0 {
					w.us += us
					b = b[1+n:]
				}
			}
		}
	}
	w.hasTime = l.hasTime
	return w, len(b) == 0 && w.valid()
}

func (l *layout) slow(b []byte) (w written, ok bool) {
	if len(b) > 100 {
		return w, false
	}
	t, err := time.Parse(l.text, string(b))
	if err != nil {
		return w, false
	}
	year, month, day := t.Date()
	w = written{year: year, month: int(month), day: day, hasTime: l.hasTime, hasOffset: l.hasOffset}
	w.us = int64(t.Hour())*hour + int64(t.Minute())*minute + int64(t.Second())*second + int64(t.Nanosecond()/1000)
	if l.hasOffset {
		_, offset := t.Zone()
		w.offset = int64(offset)
	}
	return w, year >= 0 && year <= 9999
}
