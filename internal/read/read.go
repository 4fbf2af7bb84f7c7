// Package read opens a source file of any known format and hands its rows out
// as text, each with its place. What the text means is not its business.
package read

import (
	"fmt"
	"io"
	"iter"

	"thawline/internal/contract"
	"thawline/internal/read/delimited"
)

// Format is a kind of source file.
type Format string

// The formats.
const (
	Delimited Format = "delimited"
)

// Options says what site.yaml states of a feed's files.
type Options struct {
	// Table is the table for which rows are wanted: one message or resource may
	// hold rows of several.
	Table *contract.Table
	// Format is empty where it is to be found in the file.
	Format Format
	// Delimiter and Encoding are those of delimited text; see that package.
	Delimiter byte
	Encoding  string
}

// Export is an open source file.
type Export interface {
	// Names are the names of the columns: those of the file's header, or
	// the contract's where the format has names of its own.
	Names() []string
	// Stretches yields the rows' text in the order of the file, cut where a row
	// ends, so that several workers can read one file. It can be ranged over
	// once, and after an error nothing follows.
	Stretches() iter.Seq2[Stretch, error]
}

// Stretch is a part of a source file that holds whole rows.
type Stretch interface {
	// Size is the number of the file's bytes that it stands for.
	Size() int
	// Rows calls yield for each row with its place (line, sheet row or segment,
	// 1-based), until yield returns false. The cells stay as they are until
	// Release; the slice that holds them does not outlive the call.
	Rows(yield func(place int64, cells [][]byte) bool) error
	// Release gives the memory back; no cell may be used after it.
	Release()
}

// Error is a fault of a file as a whole, with its place. It holds no cell.
type Error = delimited.Error

// Open opens a source file; name is its place in errors. A file that is of no
// known format, or of another than stated, is an *Error.
func Open(f io.Reader, name string, o Options) (Export, error) {
	switch o.Format {
	case "", Delimited:
		e, err := delimited.Open(f, name, delimited.Options{Delimiter: o.Delimiter, Encoding: o.Encoding})
		if err != nil {
			return nil, err
		}
		return text{e}, nil
	}
	return nil, &Error{Name: name, Says: fmt.Sprintf("format: found %q stated, wanted %q", o.Format, Delimited)}
}

// text is delimited text as an Export.
type text struct{ export *delimited.Export }

func (t text) Names() []string { return t.export.Header }

func (t text) Stretches() iter.Seq2[Stretch, error] {
	return func(yield func(Stretch, error) bool) {
		for segment, err := range t.export.Segments() {
			if err != nil {
				yield(nil, err)
				return
			}
			if !yield(segment, nil) {
				return
			}
		}
	}
}
