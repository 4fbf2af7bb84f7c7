// Package source opens an export as it lies on the disk: it hashes the bytes as
// they are read, unpacks archives and turns any known encoding into UTF-8. What
// the bytes mean is the business of the formats.
package source

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"io"
	"os"
	"path/filepath"
	"sync/atomic"
)

// ahead is how many bytes of the content can be looked at before it is read.
const ahead = 64 << 10

// File is an open export. It is read once, in order, by Text, or at any place,
// by Bytes.
type File struct {
	name    string
	disk    *os.File
	opened  os.FileInfo
	raw     *raw
	packing Packing
	content *bufio.Reader
	// placed counts the bytes that were read out of order.
	placed atomic.Int64
	end    func()
}

// Open opens the file at path. Errors of the disk are those of os; an archive
// that cannot be unpacked is an *Error.
func Open(path string) (*File, error) {
	disk, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	f := &File{name: filepath.Base(path), disk: disk, raw: &raw{reader: disk, hash: sha256.New()}, end: func() {}}
	if f.opened, err = disk.Stat(); err == nil {
		err = f.unpack()
	}
	if err != nil {
		disk.Close()
		return nil, err
	}
	return f, nil
}

// Name is the file's base name, as errors have it.
func (f *File) Name() string { return f.name }

// Packing says how the content was packed.
func (f *File) Packing() Packing { return f.packing }

// Start returns the first bytes of the content, unpacked and not decoded, at
// most n; fewer where the content ends.
func (f *File) Start(n int) ([]byte, error) {
	start, err := f.content.Peek(min(n, ahead))
	if err == io.EOF {
		err = nil
	}
	return start, err
}

// Bytes gives the bytes of the file at any place, for formats that are no
// stream, and their number. It is an *Error where the file is packed.
func (f *File) Bytes() (io.ReaderAt, int64, error) {
	if f.packing != "" {
		return nil, 0, f.fault("found a spreadsheet inside a %s archive, wanted it as it is: unpack it", f.packing)
	}
	return &places{file: f}, f.opened.Size(), nil
}

// places reads the file at any place, and counts.
type places struct{ file *File }

func (p *places) ReadAt(b []byte, at int64) (int, error) {
	n, err := p.file.disk.ReadAt(b, at)
	p.file.placed.Add(int64(n))
	return n, err
}

// Done is how many of the file's bytes have been read, for progress. It may be
// asked while another goroutine reads.
func (f *File) Done() int64 {
	return max(f.raw.count.Load(), min(f.placed.Load(), f.opened.Size()))
}

// Sum reads what is left, and returns the SHA-256 in hex and the number of the
// file's bytes as they lie on the disk. A file that has changed since it was
// opened is an *Error: somebody may still be writing it.
func (f *File) Sum() (sum string, size int64, err error) {
	if _, err := io.Copy(io.Discard, f.raw); err != nil {
		return "", 0, err
	}
	now, err := os.Stat(f.disk.Name())
	if err != nil {
		return "", 0, err
	}
	if !os.SameFile(now, f.opened) || now.Size() != f.raw.count.Load() || !now.ModTime().Equal(f.opened.ModTime()) {
		return "", 0, f.fault("the file changed while it was read: wait until it is written, then run this again")
	}
	return hex.EncodeToString(f.raw.hash.Sum(nil)), f.raw.count.Load(), nil
}

// Close closes the file.
func (f *File) Close() error {
	f.end()
	return f.disk.Close()
}

// raw hashes and counts the bytes that are read through it, and keeps the
// disk's own error apart from what an archive makes of it.
type raw struct {
	reader io.Reader
	hash   hash.Hash
	count  atomic.Int64
	err    error
}

func (r *raw) Read(p []byte) (int, error) {
	n, err := r.reader.Read(p)
	r.hash.Write(p[:n])
	r.count.Add(int64(n))
	if err != nil && err != io.EOF {
		r.err = err
	}
	return n, err
}
