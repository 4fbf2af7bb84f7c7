package fhir

import (
	"bufio"
	"bytes"
	"errors"
	"testing"
	"unicode/utf8"

	"thawline/internal/read/row"
	"thawline/internal/read/source"
)

// Whatever the bytes, a file is read to its end or refused as a whole: each row
// has all its cells, in UTF-8, or a fault or another name, and a place within
// the file.
func FuzzResources(f *testing.F) {
	for _, text := range []string{
		observed(`,"valueQuantity":{"value":1.80,"comparator":"<","code":"g/L"},"component":[{"valueInteger":1}]`), patient + `,"link":[{"other":{"reference":"Patient/p2"},"type":"replaced-by"}],"deceasedDateTime":"2025"}`,
		`{"resourceType":"SupplyDelivery",` + product1 + `,"basedOn":[{"reference":"#r"}],"suppliedItem":{"itemReference":{"reference":"#u"}}}`, `{"resourceType":"Procedure",` + product1 + `,"usedReference":[{"reference":"#u"}]}`,
		`{"resourceType":"Condition","code":{"text":"\ud800"}}`, `{"resourceType":"MedicationAdministration","medicationReference":{"reference":"#"}}`, `{"resourceType":"Bundle","entry":[{"resource":{"resourceType":"Observation"}}]}`, `{"resourceType":"AdverseEvent"}`,
		"{}\n[]\n\xff\n", "{\n}", `{"resourceType":"Observation","valueQuantity":{"value":"x"}}`, "", "null\n0\n",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		for table := range columns {
			e, err := Open(bufio.NewReaderSize(bytes.NewReader(text), 16), "x.ndjson", Options{Table: table})
			if err != nil {
				var fault *source.Error
				if !errors.As(err, &fault) {
					t.Fatal(err)
				}
				continue
			}
			for s, err := range e.Stretches() {
				if err != nil {
					t.Fatal(err)
				}
				err := s.Rows(func(r row.Row) bool {
					switch {
					case r.Place < 1 || r.Place > e.line:
						t.Errorf("%s: a row at %d of %d lines", table.Name, r.Place, e.line)
					case r.Fault == "" && r.Other == "" && len(r.Cells) != len(e.Names()):
						t.Errorf("%s: %d cells, %d names", table.Name, len(r.Cells), len(e.Names()))
					case !utf8.ValidString(r.Other) || !utf8.ValidString(r.Fault):
						t.Errorf("%s: %q %q is not UTF-8", table.Name, r.Other, r.Fault)
					}
					for i, c := range r.Cells {
						if !utf8.Valid(c) {
							t.Errorf("%s: %s %q is not UTF-8", table.Name, e.Names()[i], c)
						}
					}
					return true
				})
				if err != nil {
					t.Fatal(err)
				}
			}
		}
	})
}
