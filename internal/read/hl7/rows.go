package hl7

import (
	"bytes"
	"fmt"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/read/row"
)

// columns are the names of the cells that messages give, by table.
var columns = map[*contract.Table][]string{
	contract.Labs:     {"result_id", "patient_id", "test", "loinc", "code_names", "value_raw", "bound", "unit_raw", "no_value", "point_of_care", "collected_at", "resulted_at", "status"},
	contract.Measures: {"patient_id", "kind", "loinc", "code_names", "value_raw", "unit_raw", "measured_at", "status"},
	contract.Issues: {"unit_no", "product_code", "bag_no", "volume_ml", "transfused_ml", "unit_abo", "patient_id", "location", "specialty", "requester", "indication", "indication_raw",
		"issued_at", "started_at", "ended_at", "returned_at", "discarded_at", "expires_at", "fate", "status"},
	contract.Bedside:  {"unit_no", "product_code", "bag_no", "patient_id", "started_at", "ended_at", "transfused_ml", "status"},
	contract.Events:   {"patient_id", "kind", "detail", "at", "status"},
	contract.Patients: {"patient_id", "birth_date", "sex"},
}

// sheet is the columns of the rows of one file.
type sheet struct {
	*row.Sheet
	// stated are the fields that the site names.
	stated []statedField
}

type statedField struct {
	cell    int
	address Address
	isTime  bool
}

func newSheet(o Options) (*sheet, error) {
	if o.Table == nil {
		return &sheet{Sheet: row.NewSheet(nil)}, nil // A look, which reads no rows.
	}
	names := columns[o.Table]
	if names == nil {
		return nil, fmt.Errorf("found HL7 version 2 messages, from which no rows of %s are read: correct files: of this feed in site.yaml, or export the table as delimited text", o.Table.Name)
	}
	s := &sheet{Sheet: row.NewSheet(names)}
	for i := range o.Table.Columns {
		c := &o.Table.Columns[i]
		if address, stated := o.Fields[c.Name]; stated {
			s.stated = append(s.stated, statedField{s.Column(c.Name), address, c.Kind == contract.Instant || c.Kind == contract.Date})
		}
	}
	return s, nil
}

// draft is the segment that makes a row, and what stands around it.
type draft struct {
	*group
	segment *segment
	// after are the segments between it and the next of its kind.
	after []*segment
}

// group is an order: what the rows of one ORC or OBR share.
type group struct {
	message        *message
	patient, order []*segment
	drafts         []*draft
}

// groups calls use for each order of the message that holds segments of one of
// the names, in order.
func (m *message) groups(names []string, use func(*group) bool) {
	g := &group{message: m}
	next := func(patient []*segment) bool {
		done := g
		g = &group{message: m, patient: patient}
		return len(done.drafts) == 0 || use(done)
	}
	for _, s := range m.segments[1:] {
		last := len(g.drafts) - 1
		switch {
		case s.name == "PID":
			if !next([]*segment{s}) {
				return
			}
		case s.name == "ORC" || s.name == "OBR" && (g.find("OBR") != nil || last >= 0):
			if !next(g.patient) {
				return
			}
			g.order = []*segment{s}
		case contains(names, s.name):
			g.drafts = append(g.drafts, &draft{group: g, segment: s})
		case last >= 0 && s.name != "SPM":
			g.drafts[last].after = append(g.drafts[last].after, s)
		case s.name == "OBR" || len(g.order) > 0 || last >= 0:
			g.order = append(g.order, s)
		default:
			g.patient = append(g.patient, s)
		}
	}
	next(nil)
}

func contains(names []string, name string) bool {
	for _, n := range names {
		if n == name {
			return true
		}
	}
	return false
}

// find gives the group's first segment of a name, or nil.
func (g *group) find(name string) *segment {
	for _, segments := range [][]*segment{g.order, g.patient} {
		for _, s := range segments {
			if s.name == name {
				return s
			}
		}
	}
	return nil
}

// find gives the segment of a name that is nearest to the row's own, or nil.
func (d *draft) find(name string) *segment {
	if d.segment.name == name {
		return d.segment
	}
	for _, s := range d.after {
		if s.name == name {
			return s
		}
	}
	if name == "MSH" {
		return d.message.segments[0]
	}
	return d.group.find(name)
}

// takeStated puts what stands in the fields that the site names in the place of
// what stands in the usual ones.
func (s *sheet) takeStated(c row.Cells, d *draft) {
	for _, f := range s.stated {
		text := d.message.part(d.find(f.address.Segment).field(f.address.Field), f.address.Component, f.address.Sub)
		if f.isTime {
			text = d.message.iso(text, false)
		}
		c.Texts[f.cell] = text
	}
}

// rows yields the rows of one message, or that it is none of the table's.
func (e *Export) rows(m *message, blood *history, yield func(row.Row) bool) bool {
	var names []string
	var build func(*draft) []row.Row
	kind, _, _ := strings.Cut(m.kind, "^")
	switch e.o.Table {
	case contract.Labs:
		if kind == "ORU" {
			names, build = []string{"OBX"}, e.result
		}
	case contract.Measures:
		if kind == "ORU" {
			names, build = []string{"OBX"}, e.measure
		}
	case contract.Issues:
		if kind == "BPS" || kind == "BTS" {
			names, build = []string{"BPX", "BTX"}, func(d *draft) []row.Row { return e.issue(d, blood) }
		}
	case contract.Bedside:
		if kind == "BTS" {
			names, build = []string{"BTX"}, func(d *draft) []row.Row { return e.transfusion(d, blood) }
		}
	case contract.Events:
		if kind == "BTS" {
			names, build = []string{"BTX"}, e.reaction
		}
	case contract.Patients:
		return e.patients(m, yield)
	}
	if build == nil {
		return yield(row.Row{Place: m.segments[0].no, Other: "message=" + m.kind})
	}
	going := true
	m.groups(names, func(g *group) bool {
		for _, d := range g.drafts {
			if m.fault != "" {
				going = yield(row.Row{Place: d.segment.no, Fault: m.fault})
			} else {
				for _, r := range build(d) {
					if going = yield(r); !going {
						break
					}
				}
			}
			if !going {
				return false
			}
		}
		return true
	})
	return going
}

// row finishes the cells of a draft.
func (e *Export) row(c row.Cells, d *draft) row.Row {
	e.sheet.takeStated(c, d)
	return row.Row{Place: d.segment.no, Cells: c.Texts}
}

func (d *draft) other(kind string, code []byte) []row.Row {
	return []row.Row{{Place: d.segment.no, Other: kind + "=" + string(code)}}
}

// faulty is a row at fault whose cells say what it is of.
func (e *Export) faulty(c row.Cells, d *draft, says string) []row.Row {
	r := e.row(c, d)
	r.Fault = says
	return []row.Row{r}
}

func (d *draft) fault(says string) []row.Row {
	return []row.Row{{Place: d.segment.no, Fault: says}}
}

// patients yields a row for each PID of a message of any type.
func (e *Export) patients(m *message, yield func(row.Row) bool) bool {
	found := false
	for _, s := range m.segments {
		if s.name != "PID" {
			continue
		}
		found = true
		r := row.Row{Place: s.no, Fault: m.fault}
		if r.Fault == "" {
			d := &draft{group: &group{message: m, patient: []*segment{s}}, segment: s}
			c := e.sheet.Cells()
			id, fault := m.patientID(s, e.o)
			c.Set("patient_id", id)
			c.Set("birth_date", m.stamp(s.field(7)))
			c.Set("sex", m.part(s.field(8), 1, 1))
			if r = e.row(c, d); fault != "" && len(e.o.Fields["patient_id"].Segment) == 0 {
				r = row.Row{Place: s.no, Fault: fault}
			}
		}
		if !yield(r) {
			return false
		}
	}
	return found || yield(row.Row{Place: m.segments[0].no, Other: "message=" + m.kind})
}

const severalIDs = "PID-3 holds several identifiers, and none or more than one of type MR (medical record number, table 0203): say which is meant by patient_id_type: or patient_id_authority: of the feed in site.yaml"

// patientID chooses among the identifiers of PID-3. Where the site states
// neither type nor authority, it is the only one, or the only one of type MR.
func (m *message) patientID(pid *segment, o Options) (id []byte, fault string) {
	var all, records [][]byte
	for _, repetition := range m.repetitions(pid.field(3)) {
		number := m.text(nth(nth(repetition, m.component, 1), m.sub, 1))
		if len(number) == 0 || containsText(all, number) && o.IDType == "" && o.IDAuthority == "" {
			continue
		}
		authority := nth(repetition, m.component, 4)
		kind := m.text(nth(nth(repetition, m.component, 5), m.sub, 1))
		if o.IDAuthority != "" && !equalFold(m.text(nth(authority, m.sub, 1)), o.IDAuthority) && !equalFold(m.text(nth(authority, m.sub, 2)), o.IDAuthority) {
			continue
		}
		if o.IDType != "" && !equalFold(kind, o.IDType) {
			continue
		}
		all = append(all, number)
		if equalFold(kind, "MR") {
			records = append(records, number)
		}
	}
	switch {
	case len(all) == 0:
		return nil, ""
	case len(all) == 1 || o.IDType != "" || o.IDAuthority != "":
		return all[0], ""
	case len(records) == 1:
		return records[0], ""
	}
	return nil, severalIDs
}

func containsText(all [][]byte, text []byte) bool {
	for _, t := range all {
		if bytes.Equal(t, text) {
			return true
		}
	}
	return false
}

func equalFold(text []byte, name string) bool { return strings.EqualFold(string(text), name) }

// takePatient fills patient_id; fault says why it cannot be known.
func (e *Export) takePatient(c row.Cells, d *draft) (fault string) {
	if _, stated := e.o.Fields["patient_id"]; stated {
		return ""
	}
	pid := d.find("PID")
	if pid == nil {
		return ""
	}
	id, fault := d.message.patientID(pid, e.o)
	c.Set("patient_id", id)
	return fault
}
