package read

import (
	"fmt"
	"iter"

	"thawline/internal/read/hl7"
	"thawline/internal/read/source"
)

func openHL7(text *source.Text, name string, o Options, _ *Look) (Export, error) {
	own := hl7.Options{Table: o.Table, IDType: o.PatientIDType, IDAuthority: o.PatientIDAuthority, Fields: map[string]hl7.Address{}, Zone: o.Zone,
		Decoded: o.Encoding != "" || text.Marked}
	for column, field := range o.Fields {
		address, err := hl7.ParseAddress(field)
		if err != nil {
			return nil, &Error{Name: name, Says: fmt.Sprintf("fields: %s: found %q, %s", column, field, err)}
		}
		own.Fields[column] = address
	}
	e, err := hl7.Open(text.Reader, name, own)
	if err != nil {
		return nil, err
	}
	return messages{e}, nil
}

// messages is HL7 messages as an Export.
type messages struct{ *hl7.Export }

func (m messages) Stretches() iter.Seq2[Stretch, error] {
	return stretches(m.Export.Stretches(), func(s *hl7.Stretch) Stretch { return s })
}
