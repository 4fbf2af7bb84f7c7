package read

import (
	"fmt"
	"iter"

	"thawline/internal/read/fhir"
	"thawline/internal/read/hl7"
	"thawline/internal/read/source"
)

func openHL7(text *source.Text, name string, o Options, _ *Look) (Export, error) {
	if o.HeaderRow > 0 {
		return nil, &Error{Name: name, Says: headless}
	}
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

const headless = "found messages or resources, which have no header, and header_row: in the feed: leave it out"

// messages is HL7 messages as an Export.
type messages struct{ *hl7.Export }

func (m messages) Stretches() iter.Seq2[Stretch, error] {
	return stretches(m.Export.Stretches(), func(s *hl7.Stretch) Stretch { return s })
}

func openFHIR(text *source.Text, name string, o Options, _ *Look) (Export, error) {
	if len(o.Fields) > 0 {
		return nil, &Error{Name: name, Says: "found FHIR resources, and fields: in the feed, which names fields of HL7 messages: leave fields: out"}
	}
	if o.HeaderRow > 0 {
		return nil, &Error{Name: name, Says: headless}
	}
	if o.Decimal == ',' {
		return nil, &Error{Name: name, Says: "found FHIR resources, whose numbers have a point, and decimal: comma in the feed: leave decimal: out"}
	}
	e, err := fhir.Open(text.Reader, name, fhir.Options{Table: o.Table, IDType: o.PatientIDType, IDAuthority: o.PatientIDAuthority})
	if err != nil {
		return nil, err
	}
	return resources{e}, nil
}

// resources is FHIR resources as an Export.
type resources struct{ *fhir.Export }

func (r resources) Stretches() iter.Seq2[Stretch, error] {
	return stretches(r.Export.Stretches(), func(s *fhir.Stretch) Stretch { return s })
}
