package hl7

import (
	"bytes"
	"strings"

	"thawline/internal/read/row"
)

// result makes a row of labs from an OBX.
func (e *Export) result(d *draft) []row.Row {
	m, obx := d.message, d.segment
	status := m.part(obx.field(11), 1, 1)
	if hasNoResult(status) {
		return d.other("observation_status", status)
	}
	c := e.sheet.Cells()
	code, loinc, names := m.code(obx.field(3))
	c.Set("test", code)
	c.Set("loinc", loinc)
	c.Set("code_names", names)
	if fault := e.takePatient(c, d); fault != "" {
		return e.faulty(c, d, fault)
	}
	c.Set("result_id", m.part(obx.field(21), 1, 1))
	value := m.value(obx)
	switch {
	case equalFold(status, "X") && holdsDigit(value):
		// It states that there is no result: a number beside it is none.
		c.Set("no_value", []byte("other"))
	case equalFold(status, "I") && len(value) == 0:
		c.Set("no_value", []byte("pending"))
	default:
		c.Set("value_raw", value)
	}
	c.Set("bound", m.bound(obx.field(8)))
	c.Set("unit_raw", m.unit(obx.field(6)))
	c.Set("collected_at", d.collected())
	resulted := m.stamp(obx.field(19))
	if len(resulted) == 0 {
		resulted = m.stamp(d.find("OBR").field(22))
	}
	c.Set("resulted_at", resulted)
	if isPointOfCare(m.kind) {
		c.Set("point_of_care", []byte("true"))
	}
	c.Set("status", status)
	return []row.Row{e.row(c, d)}
}

// measure makes a row of measures from an OBX.
func (e *Export) measure(d *draft) []row.Row {
	m, obx := d.message, d.segment
	status := m.part(obx.field(11), 1, 1)
	if hasNoResult(status) || equalFold(status, "X") || equalFold(status, "I") {
		return d.other("observation_status", status)
	}
	c := e.sheet.Cells()
	code, loinc, names := m.code(obx.field(3))
	c.Set("kind", code)
	c.Set("loinc", loinc)
	c.Set("code_names", names)
	if fault := e.takePatient(c, d); fault != "" {
		return e.faulty(c, d, fault)
	}
	c.Set("value_raw", m.value(obx))
	c.Set("unit_raw", m.unit(obx.field(6)))
	c.Set("measured_at", d.collected())
	c.Set("status", status)
	return []row.Row{e.row(c, d)}
}

// hasNoResult names the states of table 0085 that hold no result: not asked,
// and a description of the order alone.
func hasNoResult(status []byte) bool { return equalFold(status, "N") || equalFold(status, "O") }

// isPointOfCare names the messages that are of results from the bedside by
// definition (chapter 7, events R30 to R32).
func isPointOfCare(kind string) bool {
	return strings.HasPrefix(kind, "ORU^R30") || strings.HasPrefix(kind, "ORU^R31") || strings.HasPrefix(kind, "ORU^R32")
}

// collected gives when the sample was taken: OBX-14 where the result has a time
// of its own, else SPM-17 where the order has one sample, else OBR-7.
func (d *draft) collected() []byte {
	m := d.message
	if at := m.stamp(d.segment.field(14)); len(at) > 0 {
		return at
	}
	var samples [][]byte
	for _, s := range d.order {
		if s.name != "SPM" {
			continue
		}
		if at := m.begin(s.field(17)); len(at) > 0 && !containsText(samples, at) {
			samples = append(samples, at)
		}
	}
	if len(samples) == 1 {
		return samples[0]
	}
	return m.stamp(d.find("OBR").field(7))
}

// code gives the first code of a coded field that is not of LOINC (table 0396:
// LN), the one that is, and the names beside them. Where there is none but of
// LOINC, that is both.
func (m *message) code(field []byte) (code, loinc, names []byte) {
	var all [][]byte
	for _, first := range []int{1, 4} {
		id, name, system := m.part(field, first, 1), m.part(field, first+1, 1), m.part(field, first+2, 1)
		switch {
		case equalFold(system, "LN") && len(loinc) == 0:
			loinc = id
		case len(code) == 0:
			code = id
		}
		if len(name) > 0 {
			all = append(all, name)
		}
	}
	if len(code) == 0 {
		code = loinc
	}
	if original := m.part(field, 9, 1); len(original) > 0 {
		all = append(all, original)
	}
	return code, loinc, bytes.Join(all, []byte("; "))
}

// value gives OBX-5 as its type (OBX-2, table 0125) has it. Repetitions stay
// parted by their separator: two values are no value.
func (m *message) value(obx *segment) []byte {
	kind := strings.ToUpper(string(m.part(obx.field(2), 1, 1)))
	var all [][]byte
	for _, repetition := range m.repetitions(obx.field(5)) {
		var text []byte
		part := func(n int) []byte { return m.text(nth(repetition, m.component, n)) }
		switch kind {
		case "SN":
			// Comparator, number, separator, number: >^100, ^1^:^128.
			for n := 1; n <= 4; n++ {
				text = append(text, part(n)...)
			}
		case "CE", "CWE", "CNE", "CF":
			for _, n := range []int{2, 9, 1} {
				if text = part(n); len(text) > 0 {
					break
				}
			}
		case "NM":
			text = part(1)
		case "ED", "RP", "AD", "XAD", "XPN", "XCN", "XON", "XTN", "CX": // No result.
		default:
			text = m.text(repetition)
		}
		if len(text) > 0 {
			all = append(all, text)
		}
	}
	return bytes.Join(all, []byte{'~'})
}

// bound reads the flags of OBX-8 that say that the number is the end of the
// analyser's scale (table 0078).
func (m *message) bound(field []byte) []byte {
	for _, flag := range m.repetitions(field) {
		if text := m.text(nth(flag, m.component, 1)); len(text) == 1 && (text[0] == '<' || text[0] == '>') {
			return text
		}
	}
	return nil
}

// unit gives a unit as written. A power of ten whose circumflex was not escaped
// (common practice) comes as two components, and is put together again.
func (m *message) unit(field []byte) []byte {
	first, second := m.part(field, 1, 1), m.part(field, 2, 1)
	if len(first) == 0 {
		return second
	}
	if bytes.HasSuffix(first, []byte("10")) && len(first) <= 3 && len(second) > 1 && second[0] >= '0' && second[0] <= '9' && bytes.IndexByte(second, '/') > 0 {
		return append(append(append([]byte(nil), first...), '^'), second...)
	}
	return first
}

func holdsDigit(text []byte) bool {
	return bytes.ContainsAny(text, "0123456789")
}
