package store

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/ipc"
	"github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/compress"
	"github.com/apache/arrow/go/v17/parquet/file"
	"github.com/apache/arrow/go/v17/parquet/metadata"
	"github.com/apache/arrow/go/v17/parquet/schema"

	"thawline/internal/contract"
)

// RowGroup is the number of rows in every row group of a stored file but the
// last. It is the engine's own, so that its readers find their usual pieces.
const RowGroup = 122_880

// Keys of a file's key-value metadata.
const (
	// MetadataContract holds contract.Version as a decimal number.
	MetadataContract = "thawline:contract"
	// MetadataDictionary holds the data dictionary of the file as JSON
	// (contract.Dictionary).
	MetadataDictionary = "thawline:dictionary"
)

// File describes one stored Parquet file.
type File struct {
	// Name says what the file holds: "issues", "labs-inr" or "problems" in a
	// reading; the path without its ending in a layer ("labs/inr/2026").
	Name string `json:"name"`
	// Path is absolute in memory. In the manifest and in reading.json it is
	// relative to the layer's or the reading's folder, with slashes.
	Path   string `json:"path"`
	SHA256 string `json:"sha256"`
	Rows   int64  `json:"rows"`
	Bytes  int64  `json:"bytes"`
}

// Writer writes one stored Parquet file from ordered rows. The same rows give
// the same bytes, however they are split into records. It is not safe for
// concurrent use; several Writers may be used at once.
type Writer struct {
	path     string
	columns  []contract.Column
	together []string
	chunks   []chunk
	sink     *sink
	file     *file.Writer
	// rows is the number of rows gathered and not yet written; total counts all.
	rows, total int64
	// written gets the error of the row group that is being written; nil where
	// there is none.
	written chan error
	// order gives for each column its place in the records of the schema last seen.
	order  []int
	schema *arrow.Schema
	done   bool
	// groups counts the row groups begun.
	groups int
}

// NewWriter creates the file path, which must not exist (its folder is made as
// needed), for rows of columns of t. together names text columns of which equal
// words stand together in the rows, as those do by which the rows are ordered.
func NewWriter(path string, t *contract.Table, columns []contract.Column, together ...string) (*Writer, error) {
	if len(columns) == 0 {
		return nil, fmt.Errorf("table %s: a stored file needs a column", t.Name)
	}
	root, err := parquetSchema(columns)
	if err != nil {
		return nil, fmt.Errorf("table %s: %w", t.Name, err)
	}
	facts, err := keyValues(t, columns)
	if err != nil {
		return nil, fmt.Errorf("table %s: %w", t.Name, err)
	}
	if err := os.MkdirAll(filepath.Dir(path), folderMode); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, fileMode)
	if err != nil {
		return nil, err
	}
	w := &Writer{path: path, columns: columns, together: together, sink: newSink(f)}
	w.chunks = w.newChunks()
	w.file = file.NewParquetWriter(w.sink, root, file.WithWriterProps(properties(columns, together)), file.WithWriteMetadata(facts))
	return w, nil
}

func (w *Writer) newChunks() []chunk {
	chunks := make([]chunk, len(w.columns))
	for i, c := range w.columns {
		chunks[i] = newChunk(c, repeats(c, w.together))
	}
	return chunks
}

// keyValues is what a file of t says of itself.
func keyValues(t *contract.Table, columns []contract.Column) (metadata.KeyValueMetadata, error) {
	facts := metadata.NewKeyValueMetadata()
	for _, fact := range [][2]string{
		{"ARROW:schema", arrowSchema(contract.Schema(columns))},
		{MetadataContract, strconv.Itoa(contract.Version)},
		{MetadataDictionary, contract.Dictionary(t, columns)},
	} {
		if err := facts.Append(fact[0], fact[1]); err != nil {
			return nil, err
		}
	}
	return facts, nil
}

// parquetSchema states columns as Parquet nodes under a required root: some
// readers take a repeated one, the library's default, for a list of rows.
func parquetSchema(columns []contract.Column) (*schema.GroupNode, error) {
	fields := make(schema.FieldList, len(columns))
	for i, c := range columns {
		repetition := parquet.Repetitions.Optional
		if c.Required {
			repetition = parquet.Repetitions.Required
		}
		var node schema.Node
		var err error
		logical := func(l schema.LogicalType, physical parquet.Type) {
			node, err = schema.NewPrimitiveNodeLogical(c.Name, repetition, l, physical, 0, -1)
		}
		switch c.Kind {
		case contract.Text:
			logical(schema.StringLogicalType{}, parquet.Types.ByteArray)
		case contract.Int:
			node = schema.NewInt64Node(c.Name, repetition, -1)
		case contract.Real:
			node = schema.NewFloat64Node(c.Name, repetition, -1)
		case contract.Decimal:
			logical(schema.NewDecimalLogicalType(contract.DecimalPrecision, contract.DecimalScale), parquet.Types.Int64)
		case contract.Instant, contract.Local:
			// Not adjusted to UTC: else the engine reads a type with zone, with
			// which it cannot compute.
			logical(schema.NewTimestampLogicalType(false, schema.TimeUnitMicros), parquet.Types.Int64)
		case contract.Date:
			logical(schema.DateLogicalType{}, parquet.Types.Int32)
		case contract.Bool:
			node = schema.NewBooleanNode(c.Name, repetition, -1)
		default:
			err = fmt.Errorf("kind %s has no Parquet type", c.Kind)
		}
		if err != nil {
			return nil, fmt.Errorf("column %s: %w", c.Name, err)
		}
		fields[i] = node
	}
	return schema.NewGroupNode("schema", parquet.Repetitions.Required, fields, -1)
}

// many names text columns in which a value seldom comes twice near by, where a
// dictionary costs time and saves nothing.
var many = map[string]bool{"unit_no": true, "patient_id": true, "result_id": true, "bag": true, "episode_id": true, "alias": true, "key": true, "numbers": true}

// repeats says that a column's words are worth a dictionary.
func repeats(c contract.Column, together []string) bool {
	return c.Kind == contract.Text && (!many[c.Name] || slices.Contains(together, c.Name))
}

func properties(columns []contract.Column, together []string) *parquet.WriterProperties {
	options := []parquet.WriterProperty{
		parquet.WithRootRepetition(parquet.Repetitions.Required),
		parquet.WithCompression(compress.Codecs.Zstd),
		parquet.WithMaxRowGroupLength(RowGroup),
		// A dictionary that outgrows the library's limit half-way leaves pages
		// of two encodings, which the library then lists in an order that
		// changes from run to run.
		parquet.WithDictionaryPageSizeLimit(1 << 30),
	}
	for _, c := range columns {
		switch {
		case c.Kind == contract.Instant, c.Kind == contract.Local, c.Name == "source_row":
			options = append(options, parquet.WithDictionaryFor(c.Name, false),
				parquet.WithEncodingFor(c.Name, parquet.Encodings.DeltaBinaryPacked))
		case c.Name == "result_id":
			// Numbers that count up share their beginnings.
			options = append(options, parquet.WithDictionaryFor(c.Name, false), parquet.WithEncodingFor(c.Name, parquet.Encodings.DeltaByteArray))
		case c.Kind == contract.Text && !repeats(c, together):
			options = append(options, parquet.WithDictionaryFor(c.Name, false), parquet.WithEncodingFor(c.Name, parquet.Encodings.DeltaLengthByteArray))
		case c.Kind == contract.Bool:
			options = append(options, parquet.WithDictionaryFor(c.Name, false))
		}
	}
	return parquet.NewWriterProperties(options...)
}

// arrowSchema encodes s as readers of Arrow expect it in a Parquet file, so
// that they find the units, codes and descriptions of the fields.
func arrowSchema(s *arrow.Schema) string {
	var buffer bytes.Buffer
	w := ipc.NewWriter(&buffer, ipc.WithSchema(s))
	if err := w.Close(); err != nil {
		panic(err) // A bytes.Buffer takes every write.
	}
	return base64.StdEncoding.EncodeToString(buffer.Bytes())
}

// Write appends the rows of record. Its columns are matched by name, in any
// order; a missing, a further or a wrongly typed column, and a null in a
// required one, is an error that names it. The record may be released after.
func (w *Writer) Write(record arrow.Record) error {
	if w.done {
		return errors.New("write to a closed file")
	}
	if record.Schema() != w.schema {
		if err := w.match(record.Schema()); err != nil {
			return fmt.Errorf("%s: %w", filepath.Base(w.path), err)
		}
	}
	for from := 0; from < int(record.NumRows()); {
		to := min(int(record.NumRows()), from+int(RowGroup-w.rows))
		for i := range w.chunks {
			if err := w.chunks[i].add(record.Column(w.order[i]), from, to); err != nil {
				return fmt.Errorf("%s: %w", filepath.Base(w.path), err)
			}
		}
		w.rows += int64(to - from)
		w.total += int64(to - from)
		from = to
		if w.rows == RowGroup {
			if err := w.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

// match finds each column of the file in the records' schema.
func (w *Writer) match(s *arrow.Schema) error {
	order := make([]int, len(w.columns))
	var faults []string
	for i, c := range w.columns {
		places := s.FieldIndices(c.Name)
		if len(places) != 1 {
			faults = append(faults, fmt.Sprintf("column %s: found %d times, wanted once", c.Name, len(places)))
			continue
		}
		if kind := s.Field(places[0]).Type; !fits(c, kind) {
			faults = append(faults, fmt.Sprintf("column %s: found type %s, wanted %s: cast it to %s in the query", c.Name, kind, c.Kind.Arrow(), c.Kind.SQL()))
		}
		order[i] = places[0]
	}
	for _, field := range s.Fields() {
		known := false
		for _, c := range w.columns {
			known = known || c.Name == field.Name
		}
		if !known {
			faults = append(faults, fmt.Sprintf("column %s: the table has no such column", field.Name))
		}
	}
	if faults != nil {
		return errors.New(strings.Join(faults, "; "))
	}
	w.schema, w.order = s, order
	return nil
}

// flush has the rows gathered written as one row group, which goes on beside the
// caller: rows of the next may be gathered meanwhile.
func (w *Writer) flush() error {
	if w.rows == 0 {
		return nil
	}
	if err := w.wait(); err != nil {
		return err
	}
	full := w.chunks
	w.chunks, w.rows = w.newChunks(), 0
	w.groups++
	w.written = make(chan error, 1)
	go func() { w.written <- w.encode(full) }()
	return nil
}

// wait waits for the row group that is being written, and gives its error.
func (w *Writer) wait() error {
	if w.written == nil {
		return nil
	}
	err := <-w.written
	w.written = nil
	return err
}

// encode writes one row group.
func (w *Writer) encode(chunks []chunk) (err error) {
	// The library panics where it cannot go on.
	defer func() {
		if fault := recover(); fault != nil {
			err = fmt.Errorf("write %s: %v", filepath.Base(w.path), fault)
		}
		if w.sink.err != nil {
			err = w.sink.err
		}
	}()
	group := w.file.AppendRowGroup()
	for i := range chunks {
		to, err := group.NextColumn()
		if err != nil {
			return fmt.Errorf("write %s: %w", filepath.Base(w.path), err)
		}
		if err := chunks[i].flush(to); err != nil {
			return fmt.Errorf("write %s: %w", filepath.Base(w.path), err)
		}
	}
	recycle(chunks)
	return group.Close()
}

// Cut ends the row group in hand, so that the rows written so far are a Piece
// that can be told from those that follow. It returns the number of row groups.
func (w *Writer) Cut() (int, error) {
	err := w.flush()
	return w.groups, err
}

// Rows is the number of rows written so far.
func (w *Writer) Rows() int64 { return w.total }

// Close writes what is left, waits until the disk has it, and returns the
// file's facts, Name left empty. After an error the file is gone.
func (w *Writer) Close() (File, error) {
	if w.done {
		return File{}, errors.New("close of a closed file")
	}
	err := w.flush()
	if err == nil {
		err = w.wait()
	}
	if err == nil {
		err = w.finish()
	}
	if err != nil {
		w.Abort()
		return File{}, err
	}
	w.done = true
	recycle(w.chunks)
	return File{Path: w.path, SHA256: hex.EncodeToString(w.sink.hash.Sum(nil)), Rows: w.total, Bytes: w.sink.bytes}, nil
}

// CloseScratch is Close of a file that is not kept, whose rows go into others by
// Join: it does not wait for the disk.
func (w *Writer) CloseScratch() error {
	w.sink.scratch = true
	_, err := w.Close()
	return err
}

func (w *Writer) finish() (err error) {
	defer func() {
		if fault := recover(); fault != nil {
			err = fmt.Errorf("write %s: %v", filepath.Base(w.path), fault)
		}
	}()
	// Close alone would swallow an error in the footer.
	if err := w.file.FlushWithFooter(); err != nil {
		return err
	}
	if err := w.file.Close(); err != nil {
		return err
	}
	return w.sink.close()
}

// Abort gives the file up and removes it. It may be called after Close, where
// it does nothing.
func (w *Writer) Abort() {
	if w.done {
		return
	}
	w.done = true
	w.wait()
	recycle(w.chunks)
	w.sink.file.Close()
	os.Remove(w.path)
}

// sink counts and hashes what goes into a file, and keeps the first error: the
// Parquet library does not hand every error on.
type sink struct {
	file   *os.File
	buffer *bufio.Writer
	hash   hash.Hash
	bytes  int64
	err    error
	// scratch says that the file is not kept.
	scratch bool
}

func newSink(f *os.File) *sink {
	return &sink{file: f, buffer: bufio.NewWriterSize(f, 256<<10), hash: sha256.New()}
}

// Write implements io.Writer.
func (s *sink) Write(p []byte) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	n, err := s.buffer.Write(p)
	s.hash.Write(p[:n])
	s.bytes += int64(n)
	s.err = err
	return n, err
}

func (s *sink) close() error {
	if s.err != nil {
		return s.err
	}
	if err := s.buffer.Flush(); err != nil {
		return err
	}
	if !s.scratch {
		if err := s.file.Sync(); err != nil {
			return err
		}
	}
	return s.file.Close()
}
