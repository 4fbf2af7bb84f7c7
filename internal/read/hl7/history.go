package hl7

import (
	"bytes"

	"thawline/internal/read/row"
)

// history is what a file has told of each bag so far. A message tells of one
// change, and a row of the whole: when a bag comes back, the row says too when it
// was dispensed.
type history struct {
	// bags are by bag, the latest last.
	bags map[string][]*bag
	// pooled are bags of a lot that have no number of their own. Each row of a
	// file is one of them, so that their rows wait for all that is told of them.
	pooled []*bag
}

// bag is a bag from when it was dispensed.
type bag struct {
	place     int64
	dispensed row.Cells
	// told is what was told since.
	told []change
	gone bool
}

// change is a status of table 0510 or 0513, and the cells of what told of it.
type change struct {
	status string
	cells  row.Cells
}

// told are the columns that a status speaks of; of the others it fills only what
// the dispensing left empty.
var told = map[string][]string{
	"RA": {"returned_at"}, "RL": {"returned_at"}, "WA": {"discarded_at", "discard_reason", "discard_reason_raw"},
	"TX": {"started_at", "ended_at", "transfused_ml"}, "TR": {"started_at", "ended_at", "transfused_ml"},
}

// folded gives the row of a bag as all that was told has it: the last word is
// its fate.
func (b *bag) folded() row.Cells {
	c := b.dispensed.Clone()
	for _, t := range b.told {
		for i, text := range t.cells.Texts {
			if len(c.Texts[i]) == 0 {
				c.Texts[i] = text
			}
		}
		for _, name := range told[t.status] {
			c.Take(t.cells, name)
		}
		c.Take(t.cells, "fate")
	}
	return c
}

// dispensedAt gives the place in h.bags of the bag that was dispensed at a time,
// or -1.
func (h *history) dispensedAt(key string, at []byte) int {
	bags := h.bags[key]
	for i := len(bags) - 1; i >= 0; i-- {
		if bytes.Equal(bags[i].dispensed.Get("issued_at"), at) {
			return i
		}
	}
	return -1
}

// dispense notes that a bag was handed over.
func (h *history) dispense(key string, c row.Cells, p product, d *draft) []row.Row {
	i := h.dispensedAt(key, c.Get("issued_at"))
	switch {
	case changes(p.message) && i < 0:
		i = len(h.bags[key]) - 1 // It speaks of the last, at another time.
	case !changes(p.message) && (i < 0 || p.pooled):
		h.add(key, c, p.count, p.pooled, d.segment.no)
		return d.rowUnless(p.pooled, c)
	}
	if i < 0 {
		if taken(p.message) {
			c.Set("status", []byte(p.message))
			return d.rowUnless(false, c)
		}
		h.add(key, c, p.count, p.pooled, d.segment.no)
		return d.rowUnless(p.pooled, c)
	}
	b := h.bags[key][i]
	old := b.dispensed.Clone()
	old.Set("status", []byte("D"))
	if taken(p.message) {
		b.gone = true
		h.bags[key] = append(h.bags[key][:i], h.bags[key][i+1:]...)
		return d.rowUnless(p.pooled, old)
	}
	b.dispensed = c
	rows := d.rowUnless(p.pooled, b.folded())
	if !p.pooled && !bytes.Equal(old.Get("issued_at"), c.Get("issued_at")) {
		// The time is a part of the key: the row at the old one goes.
		rows = append(d.rowUnless(false, old), rows...)
	}
	return rows
}

func (h *history) add(key string, c row.Cells, count int, pooled bool, place int64) {
	for range count {
		b := &bag{place: place, dispensed: c.Clone()}
		h.bags[key] = append(h.bags[key], b)
		if pooled {
			h.pooled = append(h.pooled, b)
		}
	}
}

const noDispense = "the message tells of the return of a bag, and no message before it in this file when the bag was dispensed (BPX-2 DS), by which an issue is known: until then that issue counts as presumed transfused. Put the messages of a period into one file, or name under fields: the field that holds issued_at"

const noDispenseOfDeleted = "the message takes back that a bag was given, and no message before it in this file when the bag was dispensed (BPX-2 DS), by which an issue is known: an issue whose own file told of the transfusion stays transfused. Put the messages of a period into one file, or withdraw that file and export it again"

// tell notes what became of bags that were dispensed.
func (h *history) tell(key string, c row.Cells, p product, d *draft) []row.Row {
	var rows []row.Row
	for range p.count {
		b := h.meant(key, p)
		switch {
		case b != nil:
			b.hear(c, p)
			rows = append(rows, d.rowUnless(p.pooled, b.folded())...)
		case len(c.Get("issued_at")) > 0:
			// The site says by which field the message knows when.
			if taken(p.message) {
				c.Set("status", []byte(p.message))
			}
			rows = append(rows, d.rowUnless(false, c)...)
		case p.status == "WA":
			// Thrown away from stock, as far as the file tells.
			if taken(p.message) {
				c.Set("status", []byte(p.message))
			}
			rows = append(rows, d.rowUnless(false, c)...)
		case p.status == "PT":
			// An issue is presumed by itself where nobody tells what became of it.
			rows = append(rows, d.other("dispense_status", []byte(p.status))...)
		case given(p.status) && taken(p.message):
			rows = append(rows, row.Row{Place: d.segment.no, Fault: noDispenseOfDeleted, Cells: c.Clone().Texts})
		case given(p.status):
			// The table bedside reads it, and finds the issue by itself.
			rows = append(rows, d.other("transfusion_status", []byte(p.status))...)
		default:
			rows = append(rows, row.Row{Place: d.segment.no, Fault: noDispense, Cells: c.Clone().Texts})
		}
	}
	return rows
}

// meant gives the bag that a status speaks of: the last, and of a pool the
// first of which nothing was told, or for a correction the last of which this was.
func (h *history) meant(key string, p product) *bag {
	bags := h.bags[key]
	if len(bags) == 0 {
		return nil
	}
	if !p.pooled {
		return bags[len(bags)-1]
	}
	if changes(p.message) {
		for i := len(bags) - 1; i >= 0; i-- {
			if bags[i].lastOf(p.status) >= 0 {
				return bags[i]
			}
		}
	}
	for _, b := range bags {
		if len(b.told) == 0 {
			return b
		}
	}
	return bags[len(bags)-1]
}

// lastOf gives where a status was last told of the bag, or -1.
func (b *bag) lastOf(status string) int {
	for i := len(b.told) - 1; i >= 0; i-- {
		if b.told[i].status == status {
			return i
		}
	}
	return -1
}

// hear adds what a message tells; a correction replaces what was told, and a
// deletion takes it out.
func (b *bag) hear(c row.Cells, p product) {
	if i := b.lastOf(p.status); i >= 0 && changes(p.message) {
		b.told = append(b.told[:i], b.told[i+1:]...)
	}
	if !taken(p.message) {
		b.told = append(b.told, change{p.status, c.Clone()})
	}
}

// rest gives the rows of the bags that waited for the end of the file.
func (h *history) rest() []row.Row {
	var rows []row.Row
	for _, b := range h.pooled {
		if !b.gone {
			rows = append(rows, row.Row{Place: b.place, Cells: b.folded().Texts})
		}
	}
	return rows
}

// taken reports whether a message status takes out what was told before,
// changes whether it takes its place at least.
func taken(message string) bool   { return message == "D" || message == "W" }
func changes(message string) bool { return taken(message) || message == "C" }

// rowUnless makes a row of cells as they are, or none where it waits.
func (d *draft) rowUnless(waits bool, c row.Cells) []row.Row {
	if waits {
		return nil
	}
	return []row.Row{{Place: d.segment.no, Cells: c.Clone().Texts}}
}
