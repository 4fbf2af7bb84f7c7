package store

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/apache/arrow/go/v17/parquet/file"
	"github.com/apache/arrow/go/v17/parquet/metadata"
	"github.com/apache/arrow/go/v17/parquet/schema"

	"thawline/internal/contract"
)

// Piece is a stretch of the row groups of a stored file.
type Piece struct {
	Path string
	// First is the first row group, Groups how many there are.
	First, Groups int
}

// magic begins and ends a Parquet file.
const magic = "PAR1"

// Join writes the file path, which must not exist, of pieces of stored files,
// one after another. Their pages are copied as they stand, so that rows that have
// not changed need not be read and written anew. The same rows cut in the same
// way give the same bytes, whichever files the pieces come from. It returns the
// file's facts, Name left empty; after an error the file is gone.
func Join(path string, t *contract.Table, columns []contract.Column, pieces []Piece) (_ File, err error) {
	root, err := parquetSchema(columns)
	if err != nil {
		return File{}, fmt.Errorf("table %s: %w", t.Name, err)
	}
	facts, err := keyValues(t, columns)
	if err != nil {
		return File{}, fmt.Errorf("table %s: %w", t.Name, err)
	}
	footer, err := metadata.NewFileMetadataBuilder(schema.NewSchema(root), properties(columns, nil), facts).Finish()
	if err != nil {
		return File{}, fmt.Errorf("table %s: %w", t.Name, err)
	}
	if err := os.MkdirAll(filepath.Dir(path), folderMode); err != nil {
		return File{}, err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, fileMode)
	if err != nil {
		return File{}, err
	}
	to := newSink(f)
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(path)
		}
	}()
	if _, err := io.WriteString(to, magic); err != nil {
		return File{}, err
	}
	for _, p := range pieces {
		if err := p.copyTo(to, footer); err != nil {
			return File{}, fmt.Errorf("copy a part of %s: %w", filepath.Base(p.Path), err)
		}
	}
	size, err := footer.WriteTo(to, nil)
	if err == nil {
		err = binary.Write(to, binary.LittleEndian, uint32(size))
	}
	if err == nil {
		_, err = io.WriteString(to, magic)
	}
	if err == nil {
		err = to.close()
	}
	if err != nil {
		return File{}, fmt.Errorf("write %s: %w", filepath.Base(path), err)
	}
	return File{Path: path, SHA256: hex.EncodeToString(to.hash.Sum(nil)), Rows: footer.NumRows, Bytes: to.bytes}, nil
}

// copyTo appends the pages of the piece, and what its file's footer says of them
// with the places that they have now.
func (p Piece) copyTo(to *sink, footer *metadata.FileMetaData) (err error) {
	from, err := os.Open(p.Path)
	if err != nil {
		return err
	}
	defer from.Close()
	// The library panics where a footer is not as it should be.
	defer func() {
		if fault := recover(); fault != nil {
			err = fmt.Errorf("%v", fault)
		}
	}()
	reader, err := file.NewParquetReader(from)
	if err != nil {
		return err
	}
	told := reader.MetaData()
	if !told.Schema.Equals(footer.Schema) {
		return fmt.Errorf("its columns are others")
	}
	if p.First+p.Groups > len(told.RowGroups) {
		return fmt.Errorf("it has %d row groups, wanted %d", len(told.RowGroups), p.First+p.Groups)
	}
	for _, group := range told.RowGroups[p.First : p.First+p.Groups] {
		begins, ordinal := to.bytes, int16(len(footer.RowGroups))
		for _, column := range group.Columns {
			facts := column.MetaData
			first := facts.DataPageOffset
			if at := facts.DictionaryPageOffset; at != nil && *at > 0 {
				first = min(first, *at)
			}
			moved := to.bytes - first
			if _, err := io.Copy(to, io.NewSectionReader(from, first, facts.TotalCompressedSize)); err != nil {
				return err
			}
			if to.bytes != first+moved+facts.TotalCompressedSize {
				return io.ErrUnexpectedEOF
			}
			facts.DataPageOffset += moved
			for _, at := range []*int64{facts.DictionaryPageOffset, facts.IndexPageOffset} {
				if at != nil && *at > 0 {
					*at += moved
				}
			}
			// The library repeats what the footer says of a column behind its pages,
			// and points there. Nobody reads it, and it would have to be written anew.
			column.FileOffset = 0
		}
		group.FileOffset, group.Ordinal = &begins, &ordinal
		footer.RowGroups = append(footer.RowGroups, group)
		footer.NumRows += group.NumRows
	}
	return nil
}
