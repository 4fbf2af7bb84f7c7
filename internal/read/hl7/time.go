package hl7

import "time"

// A time of HL7 is YYYY[MM[DD[HH[MM[SS[.S[S[S[S]]]]]]]]][+/-ZZZZ] (chapter 2A,
// DTM): as precise as it is written. It is handed on in a form of ISO 8601 where
// it is a day, or a day and at least minutes. Anything else, a month or an hour
// alone included, stays as it is written, and cannot be read.

// iso gives a time in a form of ISO 8601. dayAlone says that what is written
// after the day says nothing.
func (m *message) iso(text []byte, dayAlone bool) []byte {
	digits := 0
	for digits < len(text) && text[digits] >= '0' && text[digits] <= '9' {
		digits++
	}
	rest := text[digits:]
	fraction := 0
	if digits == 14 && len(rest) > 0 && rest[0] == '.' {
		fraction = 1
		for fraction < len(rest) && rest[fraction] >= '0' && rest[fraction] <= '9' {
			fraction++
		}
	}
	offset := rest[fraction:]
	if len(offset) > 0 && !isOffset(offset) || digits != 8 && digits != 12 && digits != 14 {
		return text
	}
	out := make([]byte, 0, 32)
	out = append(out, text[:4]...)
	out = append(out, '-')
	out = append(out, text[4:6]...)
	out = append(out, '-')
	out = append(out, text[6:8]...)
	if digits == 8 || dayAlone {
		return out
	}
	out = append(out, 'T')
	out = append(out, text[8:10]...)
	out = append(out, ':')
	out = append(out, text[10:12]...)
	if digits == 14 {
		out = append(out, ':')
		out = append(out, text[12:14]...)
		if fraction > 1 {
			out = append(out, rest[:fraction]...)
		}
	}
	if len(offset) == 0 {
		offset = m.offset
	}
	return append(out, offset...)
}

// isOffset reports whether text is a sign and four digits.
func isOffset(text []byte) bool {
	if len(text) != 5 || text[0] != '+' && text[0] != '-' {
		return false
	}
	for _, c := range text[1:] {
		if c < '0' || c > '9' {
			return false
		}
	}
	return true
}

// stamp gives a field of type TS or DTM, whose second component was the degree
// of its precision before version 2.3: D is the day.
func (m *message) stamp(field []byte) []byte {
	return m.iso(m.part(field, 1, 1), string(m.part(field, 2, 1)) == "D")
}

// begin gives the start of a field of type DR.
func (m *message) begin(field []byte) []byte {
	return m.iso(m.part(field, 1, 1), false)
}

// defaultOffset gives the offset of MSH-7, which holds for the times of the
// message that have none (chapter 2, MSH-7). Where it is the one that the site's
// clock had at that moment, the sender is on that clock, and it is left out: a
// sample taken in winter and sent in summer was not taken at summer time.
func (m *message) defaultOffset(sent []byte, zone *time.Location) []byte {
	if len(sent) < 5 || !isOffset(sent[len(sent)-5:]) {
		return nil
	}
	offset := sent[len(sent)-5:]
	if zone != nil {
		at, err := time.Parse("2006-01-02T15:04:05Z0700", string(padded(m.iso(sent, false))))
		if err == nil && at.In(zone).Format("-0700") == string(offset) {
			return nil
		}
	}
	return append([]byte(nil), offset...)
}

// padded writes the seconds of a time that has none.
func padded(iso []byte) []byte {
	if len(iso) == len("2006-01-02T15:04-0700") {
		return append(append(append([]byte(nil), iso[:16]...), ":00"...), iso[16:]...)
	}
	return iso
}
