// Package read opens a source file of any known format and hands its rows out
// as text, each with its place. What the text means is not its business.
package read

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"iter"
	"strings"
	"time"

	"thawline/internal/contract"
	"thawline/internal/read/fhir"
	"thawline/internal/read/hl7"
	"thawline/internal/read/row"
	"thawline/internal/read/source"
)

// Format is a kind of source file.
type Format string

// The formats.
const (
	Delimited Format = "delimited"
	XLSX      Format = "xlsx"
	HL7       Format = "hl7"
	FHIR      Format = "fhir"
)

// Options says what site.yaml states of a feed's files.
type Options struct {
	// Table is the table for which rows are wanted: one message or resource may
	// hold rows of several.
	Table *contract.Table
	// Encoding is one of Encodings, or empty: a byte order mark, else UTF-8.
	Encoding string
	// Delimiter is that of delimited text, or 0: found in the header.
	Delimiter byte
	// Sheet is the name or the number, from 1, of the sheet of a workbook, or
	// empty: the one that there is.
	Sheet string
	// HeaderRow is the row that holds the names of the columns, from 1, or 0: the
	// first that is not blank. What stands above it is passed over.
	HeaderRow int64
	// Decimal parts the decimals of numbers in text, a comma or a point, or is 0. A
	// format that knows numbers writes them so too.
	Decimal byte
	// PatientIDType and PatientIDAuthority choose among the identifiers of a
	// patient in messages and resources; empty is any.
	PatientIDType, PatientIDAuthority string
	// Fields names, by column of the contract, a field of HL7 messages that holds
	// it, as OBR-7, where it is not the usual one.
	Fields map[string]string
	// Zone is the site's clock.
	Zone *time.Location
}

// Export is what a format makes of a file.
type Export interface {
	// Names are the names of the columns: those of the file's header, or
	// the contract's where the format has names of its own. Nil says that the
	// file is blank.
	Names() []string
	// Stretches yields the rows' text in the order of the file, cut where a row
	// ends, so that several workers can read one file. It can be ranged over
	// once, and after an error nothing follows.
	Stretches() iter.Seq2[Stretch, error]
}

// Stretch is a part of a source file that holds whole rows.
type Stretch interface {
	// Rows calls yield for each row until yield returns false. The cells stay as
	// they are until Release; the slice that holds them does not outlive the call.
	Rows(yield func(Row) bool) error
	// Release gives the memory back; no cell may be used after it.
	Release()
}

// Row is one row of a source file, or a part of it that gives none.
type Row = row.Row

// Encodings are the names of encodings that Options may state.
var Encodings = source.Encodings

// Error is a fault of a file as a whole, with its place. It holds no cell.
type Error = source.Error

// Look says what kind of file a source file is.
type Look struct {
	Format Format
	// Packing is gzip, zstd or empty.
	Packing source.Packing
	// Encoding is that of text, and Marked says that a byte order mark told it.
	Encoding string
	Marked   bool
	// Delimiter is that of delimited text.
	Delimiter byte
	// Sheets are the names of a workbook's sheets, Shown of those that are not
	// hidden, Sheet that of the one read.
	Sheets []string
	Shown  []string
	Sheet  string
	// Names are the names of the columns; nil where the file is blank.
	Names []string
}

// File is an open source file. Its formats read its bytes once, in order.
type File struct {
	Export
	// Look says what was found.
	Look   Look
	source *source.File
	text   *source.Text
}

// format is one kind of text that is known.
type format struct {
	name Format
	// begins reports whether start, the first bytes of the text (UTF-8, no byte
	// order mark, no outer spaces), is of this format.
	begins func(start []byte) bool
	// open opens the text; name is its place in errors. It may add to look.
	open func(text *source.Text, name string, o Options, look *Look) (Export, error)
}

// formats are tried in this order: what no other knows is delimited text.
var formats = []format{
	{HL7, hl7.Begins, openHL7},
	{FHIR, fhir.Begins, openFHIR},
	{Delimited, func([]byte) bool { return true }, openDelimited},
}

// Open opens the source file at path. The kind of file is found in what it
// holds, unpacked and decoded; its name says nothing. A file that is of no known
// format is an *Error; other errors are the disk's.
func Open(path string, o Options) (*File, error) {
	f, err := open(path, o)
	if err != nil {
		return nil, err
	}
	return f, nil
}

// LookAt says what kind of file the one at path is, as far as it can be told:
// with an error, what was found before it.
func LookAt(path string, o Options) (Look, error) {
	f, err := open(path, o)
	if err != nil {
		return f.Look, err
	}
	return f.Look, f.Close()
}

// open returns a file that holds nothing but its Look where there is an error.
func open(path string, o Options) (*File, error) {
	src, err := source.Open(path)
	if err != nil {
		return &File{}, err
	}
	f := &File{source: src, Look: Look{Packing: src.Packing()}}
	if err := f.open(o); err != nil {
		src.Close()
		return f, err
	}
	f.Look.Names = f.Names()
	return f, nil
}

func (f *File) open(o Options) error {
	start, err := f.source.Start(4)
	if err != nil {
		return err
	}
	if bytes.HasPrefix(start, []byte("PK\x03\x04")) { // PKWARE APPNOTE 4.3.7
		return f.openWorkbook(o)
	}
	text, err := f.source.Text(o.Encoding)
	if err != nil {
		return err
	}
	f.text = text
	f.Look.Encoding, f.Look.Marked = text.Encoding, text.Marked
	// An error of the text comes again, with its place, when the format reads.
	begin, _ := text.Peek(4 << 10)
	begin = bytes.TrimSpace(begin)
	for _, format := range formats {
		if format.begins(begin) {
			f.Look.Format = format.name
			f.Export, err = format.open(text, f.source.Name(), o, &f.Look)
			return err
		}
	}
	return nil
}

// Notes are sentences about what of the file may have been overlooked, once all
// stretches have been read.
func (f *File) Notes() []string {
	var all []string
	if f.text != nil && f.text.Note() != "" {
		all = append(all, f.text.Note())
	}
	if n, ok := f.Export.(interface{ Notes() []string }); ok {
		all = append(all, n.Notes()...)
	}
	return all
}

// Codes gives, by column, published codes of the format in lower case, and the
// contract's words for them; nil where the format has none.
func (f *File) Codes() map[string]map[string]string {
	if coded, ok := f.Export.(interface {
		Codes() map[string]map[string]string
	}); ok {
		return coded.Codes()
	}
	return nil
}

// Done is how many of the file's bytes have been read, for progress.
func (f *File) Done() int64 { return f.source.Done() }

// Sum returns the SHA-256 and the number of the file's bytes as they lie on the
// disk, once all stretches have been read.
func (f *File) Sum() (sum string, size int64, err error) { return f.source.Sum() }

// Close closes the file; nothing of it may be read after.
func (f *File) Close() error {
	if e, ok := f.Export.(io.Closer); ok {
		return errors.Join(e.Close(), f.source.Close())
	}
	return f.source.Close()
}

// String tells what the file is in a few words.
func (l Look) String() string {
	words := []string{string(l.Format)}
	for _, word := range []string{l.Encoding, string(l.Packing)} {
		if word != "" {
			words = append(words, word)
		}
	}
	if l.Sheet != "" {
		words = append(words, fmt.Sprintf("sheet %q", l.Sheet))
	}
	if l.Delimiter != 0 {
		words = append(words, fmt.Sprintf("parted by %q", l.Delimiter))
	}
	return strings.Join(words, ", ")
}
