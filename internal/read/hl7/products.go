package hl7

import (
	"bytes"
	"strconv"
	"strings"

	"thawline/internal/read/row"
)

// product is what BPX and BTX have in common, by their own positions.
type product struct {
	// unit is a donation number, or the lot of a commercial product, bag its
	// unique id within the lot.
	unit, code, bag []byte
	// pooled says that several bags bear the same numbers, count how many of
	// them the segment speaks of.
	pooled bool
	count  int
	// status is of table 0510 or 0513, message of table 0511.
	status, message string
	amount          []byte
	at, start, end  []byte
}

// product reads a BPX or a BTX. BTX-20, the unique id, is in version 2.5.1 as
// published and in neither dictionary.
func (d *draft) product() product {
	m, s := d.message, d.segment
	positions := struct{ status, message, at, donation, component, commercial, lot, quantity, amount, unique int }{2, 3, 4, 5, 6, 8, 10, 14, 15, 17}
	if s.name == "BTX" {
		positions.status, positions.message, positions.at, positions.donation, positions.component = 11, 12, 13, 2, 3
		positions.commercial, positions.lot, positions.quantity, positions.amount, positions.unique = 5, 7, 8, 9, 20
	}
	text := func(n int) []byte { return m.part(s.field(n), 1, 1) }
	p := product{unit: text(positions.donation), code: text(positions.component), count: 1,
		status: strings.ToUpper(string(text(positions.status))), message: strings.ToUpper(string(text(positions.message)))}
	if len(p.unit) == 0 {
		p.unit, p.bag = text(positions.lot), text(positions.unique)
		p.pooled = len(p.unit) > 0 && len(p.bag) == 0
		if n, err := strconv.Atoi(string(text(positions.quantity))); err == nil && p.pooled && n > 1 {
			p.count = n
		}
	}
	if len(p.code) == 0 {
		p.code = text(positions.commercial)
	}
	p.amount = millilitres(text(positions.amount), text(positions.amount+1))
	p.at = m.stamp(s.field(positions.at))
	if s.name == "BTX" {
		p.start, p.end = m.stamp(s.field(16)), m.stamp(s.field(17))
	}
	return p
}

// key names the bag, and of a pool the patient too.
func (p product) key(patient []byte) string {
	parts := [][]byte{p.unit, p.code, p.bag}
	if p.pooled {
		parts = append(parts, patient)
	}
	return string(bytes.Join(parts, []byte{0}))
}

// millilitres gives an amount as a number of mL. Of another unit, or of none,
// both are given as they are written, which is no number, so that it is told.
func millilitres(amount, unit []byte) []byte {
	if len(amount) == 0 {
		return nil
	}
	switch strings.ToLower(string(unit)) {
	case "ml", "mls", "milliliter", "millilitre":
		return amount
	case "l", "liter", "litre":
		if v, err := strconv.ParseFloat(string(amount), 64); err == nil {
			return strconv.AppendFloat(nil, v*1000, 'f', -1, 64)
		}
	case "":
		unit = []byte("(no unit)")
	}
	return append(append(bytes.Clone(amount), ' '), unit...)
}

// given reports whether a status says that a bag was transfused.
func given(status string) bool { return status == "TX" || status == "TR" }

// mostOfOneLot is how many bags one segment may tell of.
const mostOfOneLot = 100

// issue makes rows of issues from a BPX or a BTX.
func (e *Export) issue(d *draft, blood *history) []row.Row {
	p := d.product()
	switch known := contains([]string{"RA", "RL", "WA"}, p.status); {
	case p.message == "O":
		return d.other("product_status", []byte(p.message))
	case d.segment.name == "BPX" && !known && p.status != "DS" && p.status != "PT":
		return d.other("dispense_status", []byte(p.status))
	case d.segment.name == "BTX" && !known && !given(p.status):
		return d.other("transfusion_status", []byte(p.status))
	}
	c := e.sheet.Cells()
	e.describe(c, d, p)
	if p.count > mostOfOneLot {
		return e.faulty(c, d, "found over "+strconv.Itoa(mostOfOneLot)+" bags of a lot in one segment, wanted fewer, or a segment for each bag")
	}
	if fault := e.takePatient(c, d); fault != "" {
		return e.faulty(c, d, fault)
	}
	e.sheet.takeStated(c, d)
	key := p.key(c.Get("patient_id"))
	if p.status == "DS" {
		return blood.dispense(key, c, p, d)
	}
	return blood.tell(key, c, p, d)
}

// describe fills what a segment says of the bag, its order and what became of it.
func (e *Export) describe(c row.Cells, d *draft, p product) {
	m, s := d.message, d.segment
	c.Set("unit_no", p.unit)
	c.Set("product_code", p.code)
	c.Set("bag_no", p.bag)
	if s.name == "BPX" {
		c.Set("volume_ml", p.amount)
		c.Set("unit_abo", m.part(s.field(11), 1, 1))
		c.Set("expires_at", m.stamp(s.field(13)))
		c.Set("location", m.part(s.field(18), 1, 1))
	} else {
		c.Set("unit_abo", m.part(s.field(4), 1, 1))
	}
	visit := d.find("PV1")
	if len(c.Get("location")) == 0 {
		c.Set("location", m.part(visit.field(3), 1, 1))
	}
	c.Set("specialty", m.part(visit.field(10), 1, 1))
	c.Set("requester", m.part(d.find("ORC").field(12), 1, 1))
	why := d.find("BPO").field(13)
	code, name := m.part(why, 1, 1), m.part(why, 2, 1)
	if len(code) == 0 {
		code = name
	}
	if len(name) == 0 {
		name = code
	}
	c.Set("indication", code)
	c.Set("indication_raw", name)
	if p.status == "DS" {
		c.Set("issued_at", p.at)
		return
	}
	c.Set("fate", []byte(p.status))
	switch p.status {
	case "RA", "RL":
		c.Set("returned_at", p.at)
	case "WA":
		c.Set("discarded_at", p.at)
	case "TX", "TR":
		c.Set("started_at", p.start)
		c.Set("ended_at", p.end)
		c.Set("transfused_ml", p.amount)
	}
}

// transfusion makes rows of bedside from a BTX. Bags that were returned or
// wasted were not given: they are none of its rows.
func (e *Export) transfusion(d *draft, blood *history) []row.Row {
	p := d.product()
	if !given(p.status) || p.message == "O" {
		return d.other("transfusion_status", []byte(p.status))
	}
	c := e.sheet.Cells()
	c.Set("unit_no", p.unit)
	c.Set("product_code", p.code)
	c.Set("bag_no", p.bag)
	if fault := e.takePatient(c, d); fault != "" {
		return e.faulty(c, d, fault)
	}
	c.Set("started_at", p.start)
	c.Set("ended_at", p.end)
	c.Set("transfused_ml", p.amount)
	e.sheet.takeStated(c, d)
	key := string(p.unit) + "\x00" + string(p.code) + "\x00" + string(p.bag) + "\x00" + string(c.Get("patient_id"))
	var rows []row.Row
	if last := len(blood.bags[key]) - 1; changes(p.message) && last >= 0 {
		// What it changes was told at another start, which is a part of the key:
		// the row at the old one goes.
		old := blood.bags[key][last].dispensed.Clone()
		blood.bags[key] = blood.bags[key][:last]
		old.Set("status", []byte("D"))
		rows = d.rowUnless(taken(p.message) && len(p.start) > 0 || bytes.Equal(old.Get("started_at"), c.Get("started_at")), old)
	}
	if taken(p.message) {
		if len(rows) > 0 {
			return rows
		}
		c.Set("status", []byte(p.message))
	} else {
		blood.bags[key] = append(blood.bags[key], &bag{dispensed: c.Clone()})
	}
	return append(rows, d.rowUnless(false, c)...)
}

// reaction makes a row of events from a BTX that tells of one.
func (e *Export) reaction(d *draft) []row.Row {
	p := d.product()
	code := d.message.part(d.segment.field(18), 1, 1)
	if p.status != "TR" && len(code) == 0 || equalFold(code, "NORXN") {
		return d.other("transfusion_status", []byte(p.status))
	}
	c := e.sheet.Cells()
	if fault := e.takePatient(c, d); fault != "" {
		return d.fault(fault)
	}
	c.Set("kind", []byte("reaction"))
	c.Set("detail", code)
	c.Set("at", p.at)
	if taken(p.message) {
		c.Set("status", []byte(p.message))
	}
	return []row.Row{e.row(c, d)}
}
