// Package fhir reads FHIR R4 resources as a bulk export has them: one JSON
// object a line (NDJSON). Names of elements and codes are those of the
// specification, version 4.0.1. Numbers keep the text in which they were written.
package fhir

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"strings"
	"unicode/utf8"

	"thawline/internal/contract"
	"thawline/internal/read/row"
	"thawline/internal/read/source"
)

// stretchSize is how many bytes of lines a stretch aims at, lineLimit how many
// one line may have. They are variables for tests alone.
var (
	stretchSize = 4 << 20
	lineLimit   = 64 << 20
)

// Options says what is wanted of a file, and what the site states of it.
type Options struct {
	// Table is the table for which rows are wanted.
	Table *contract.Table
	// IDType and IDAuthority choose among the identifiers of a patient, by the
	// code of their type and by their system. Empty is any.
	IDType, IDAuthority string
}

// Export is a file of resources.
type Export struct {
	name  string
	text  *bufio.Reader
	o     Options
	sheet *row.Sheet
	line  int64
	// ended says that the reader has nothing more.
	ended bool
	// merged and place, the line at hand, are for aliases alone, whose rows are
	// made as the file is read.
	merged merged
	place  int64
}

// Begins reports whether text is the start of a file of resources.
func Begins(text []byte) bool {
	return bytes.HasPrefix(bytes.TrimSpace(text), []byte("{"))
}

// Open prepares to read the resources in text; name is their place in errors.
func Open(text *bufio.Reader, name string, o Options) (*Export, error) {
	e := &Export{name: name, text: text, o: o, sheet: row.NewSheet(columns[o.Table])}
	if o.Table != nil && columns[o.Table] == nil {
		return nil, e.fault(0, "found FHIR resources, from which no rows of %s are read: correct files: of this feed in site.yaml, or export the table as delimited text", o.Table.Name)
	}
	// A resource may well be longer than what can be looked at.
	start, _ := text.Peek(4 << 10)
	first, _, whole := bytes.Cut(bytes.TrimLeft(start, " \t\r\n"), []byte("\n"))
	if first = bytes.TrimSpace(first); whole && len(first) > 0 && !json.Valid(first) && (len(first) == 1 || first[len(first)-1] == ',') {
		return nil, e.fault(0, "found JSON that runs over several lines, wanted a resource on each line (NDJSON, as a bulk export has it)")
	}
	return e, nil
}

func (e *Export) fault(line int64, format string, args ...any) error {
	return &source.Error{Name: e.name, Place: line, Says: fmt.Sprintf(format, args...)}
}

// Names are columns of the contract, and loinc, code_names and kind_else, which
// tell of a code what it is where no map knows it.
func (e *Export) Names() []string { return e.sheet.Names }

// Codes gives the published codes of the columns, in lower case, and the
// contract's words for them.
func (e *Export) Codes() map[string]map[string]string { return codesOf(e.o.Table) }

// Stretch is a run of lines.
type Stretch struct {
	export *Export
	text   []byte
	line   int64
	// rows are those of a table whose rows were made as the file was read.
	rows []row.Row
	made bool
}

// Release gives the memory back.
func (s *Stretch) Release() { *s = Stretch{} }

// Stretches yields the lines in the order of the file.
func (e *Export) Stretches() iter.Seq2[*Stretch, error] {
	return func(yield func(*Stretch, error) bool) {
		for !e.ended {
			s := &Stretch{export: e, line: e.line + 1}
			for len(s.text) < stretchSize && !e.ended {
				if err := e.next(s); err != nil {
					yield(nil, err)
					return
				}
			}
			e.finish(s)
			if (len(s.text) > 0 || len(s.rows) > 0) && !yield(s, nil) {
				return
			}
		}
	}
}

// finish makes the rows of aliases, for which the whole file matters.
func (e *Export) finish(s *Stretch) {
	if e.o.Table != contract.Aliases {
		return
	}
	s.each(func(r row.Row) bool {
		s.rows = append(s.rows, r)
		return true
	})
	s.made = true
	if e.ended {
		s.rows = append(s.rows, e.rest()...)
	}
}

// next adds a line to s.
func (e *Export) next(s *Stretch) error {
	begun := len(s.text)
	for {
		part, err := e.text.ReadSlice('\n')
		s.text = append(s.text, part...)
		if len(s.text)-begun > lineLimit {
			return e.fault(e.line+1, "found a line of over %d MB, wanted a resource on each line: the file is damaged or of another kind", lineLimit>>20)
		}
		switch {
		case errors.Is(err, bufio.ErrBufferFull):
			continue
		case err == io.EOF:
			e.ended = true
		case err != nil:
			return source.At(err, e.line+1)
		}
		e.line++
		return nil
	}
}

// Rows calls yield for each row of the table until yield returns false.
func (s *Stretch) Rows(yield func(row.Row) bool) error {
	if !s.made {
		s.each(yield)
		return nil
	}
	for _, r := range s.rows {
		if !yield(r) {
			break
		}
	}
	return nil
}

// each takes the lines apart one by one. Of aliases, in the order of the file.
func (s *Stretch) each(yield func(row.Row) bool) {
	line := s.line
	for rest := s.text; len(rest) > 0; line++ {
		var text []byte
		text, rest, _ = bytes.Cut(rest, []byte{'\n'})
		if text = bytes.TrimSpace(text); len(text) == 0 {
			continue
		}
		if s.export.o.Table == contract.Aliases {
			s.export.place = line
		}
		for _, r := range s.export.rows(text, false) {
			r.Place = line
			if !yield(r) {
				return
			}
		}
	}
}

const (
	notJSON     = "found no JSON object, wanted a FHIR resource on each line; the line may be cut"
	notResource = "found JSON without a resourceType, wanted a FHIR resource on each line"
	notUTF8     = "found bytes that are not UTF-8, wanted UTF-8 as JSON has it"
)

func fault(says string) []row.Row { return []row.Row{{Fault: says}} }

func other(kind, code string) []row.Row { return []row.Row{{Other: kind + "=" + code}} }

// rows takes a line apart, or a resource within a bundle.
func (e *Export) rows(text []byte, within bool) []row.Row {
	if !utf8.Valid(text) {
		return fault(notUTF8)
	}
	// A resource is taken apart once where its type comes first, as it nearly
	// always does: a third of the work.
	if read := readers[e.o.Table][typeAtStart(text)]; read != nil {
		return read(e, text)
	}
	var kind struct {
		ResourceType string `json:"resourceType"`
		Entry        []struct {
			Resource json.RawMessage `json:"resource"`
		} `json:"entry"`
	}
	if err := json.Unmarshal(text, &kind); err != nil {
		return fault(said(err))
	}
	switch kind.ResourceType {
	case "":
		return fault(notResource)
	case "Bundle":
		if within {
			break
		}
		// A bundle on one line is read as the resources that it holds.
		var all []row.Row
		for _, entry := range kind.Entry {
			if len(entry.Resource) > 0 {
				all = append(all, e.rows(entry.Resource, true)...)
			}
		}
		return all
	}
	read := readers[e.o.Table][kind.ResourceType]
	if read == nil {
		return other("resource", kind.ResourceType)
	}
	return read(e, text)
}

// typeAtStart gives the type of a resource that begins with it, else nothing.
func typeAtStart(text []byte) string {
	for _, token := range []string{"{", `"resourceType"`, ":", `"`} {
		var found bool
		if text, found = bytes.CutPrefix(bytes.TrimLeft(text, " \t\r\n"), []byte(token)); !found {
			return ""
		}
	}
	name, _, whole := bytes.Cut(text, []byte{'"'})
	if !whole {
		return ""
	}
	return string(name)
}

// into decodes a resource; its rows are those of the fault where it has one.
func into(text []byte, resource any) []row.Row {
	if err := json.Unmarshal(text, resource); err != nil {
		return fault(said(err))
	}
	return nil
}

// said tells what is wrong with a line, without a value of it.
func said(err error) string {
	var kind *json.UnmarshalTypeError
	if errors.As(err, &kind) && kind.Field != "" {
		return fmt.Sprintf("found another kind of value at %s than FHIR R4 has there", strings.TrimPrefix(kind.Field, "measurement."))
	}
	return notJSON
}
