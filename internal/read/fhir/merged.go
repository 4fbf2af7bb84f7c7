package fhir

import (
	"thawline/internal/read/row"
)

// merged is what a file of patients has told so far of those that were replaced.
// A replaced patient's number leads to the one who replaced it, unless that one
// bears the same number, which leads nowhere: both are known only at the end.
type merged struct {
	people map[string]bearer
	held   []heldAlias
}

// bearer is a patient by logical id: the number borne, and who replaced it.
type bearer struct{ number, replacedBy string }

// heldAlias is the number of a replaced patient; alone says that its resource
// gave no other row.
type heldAlias struct {
	place         int64
	number, other string
	alone         bool
}

// survivor follows those who were replaced to the end, as far as the file tells.
func (m *merged) survivor(id string) bearer {
	p := m.people[id]
	for steps := 0; p.replacedBy != "" && steps < len(m.people); steps++ {
		next, known := m.people[p.replacedBy]
		if !known {
			break
		}
		p = next
	}
	return p
}

// rest gives the rows that waited for the end of the file.
func (e *Export) rest() []row.Row {
	var rows []row.Row
	for _, h := range e.merged.held {
		switch {
		case h.number != e.merged.survivor(h.other).number:
			r := e.fill(map[string]string{"alias": h.number, "patient_id": h.other})
			r.Place = h.place
			rows = append(rows, r)
		case h.alone:
			r := withoutNumber()[0]
			r.Place = h.place
			rows = append(rows, r)
		}
	}
	e.merged = merged{}
	return rows
}

func withoutNumber() []row.Row { return other("patient", "without another number") }
