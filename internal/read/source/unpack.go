package source

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
)

// Packing is how a file is packed; empty is not at all.
type Packing string

// The packings.
const (
	Gzip Packing = "gzip"
	Zstd Packing = "zstd"
)

// An archive is taken for a trap where it has unpacked to more than trapSize
// and more than trapRatio times its own bytes, or to more than mostUnpacked at
// all. Exports pack to a tenth or a thirtieth; a billion results are 85 GB.
// They are variables for tests alone.
var (
	trapSize     int64 = 256 << 20
	trapRatio    int64 = 200
	mostUnpacked int64 = 200 << 30
)

// zstdWindow is the largest window that is unpacked: what zstd --long=27 needs.
const zstdWindow = 128 << 20

// PackingOf names the packing that start begins, by the magic numbers of RFC
// 1952 (2.3.1) and RFC 8878 (3.1.1 and, for skippable frames, 3.1.2).
func PackingOf(start []byte) Packing {
	switch {
	case bytes.HasPrefix(start, []byte{0x1f, 0x8b}):
		return Gzip
	case bytes.HasPrefix(start, []byte{0x28, 0xb5, 0x2f, 0xfd}):
		return Zstd
	case len(start) >= 4 && start[0]&0xf0 == 0x50 && bytes.Equal(start[1:4], []byte{0x2a, 0x4d, 0x18}):
		return Zstd
	}
	return ""
}

// unpack sets the content of the file, whatever it is packed in.
func (f *File) unpack() error {
	disk := bufio.NewReaderSize(f.raw, ahead)
	f.content = disk
	start, err := disk.Peek(4)
	if err != nil && err != io.EOF {
		return err
	}
	f.packing = PackingOf(start)
	if f.packing == "" {
		return nil
	}
	archive := &archive{file: f}
	switch f.packing {
	case Gzip:
		// The members of a file that was put together from several follow each
		// other (RFC 1952, 2.2).
		reader, err := gzip.NewReader(disk)
		if err != nil {
			return archive.damage(err)
		}
		archive.reader = reader
		f.end = func() { reader.Close() }
	case Zstd:
		reader, err := zstd.NewReader(disk, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(zstdWindow))
		if err != nil {
			return archive.damage(err)
		}
		archive.reader = reader
		f.end = reader.Close
	}
	f.content = bufio.NewReaderSize(Watch(archive, f.name, f.Done), ahead)
	if start, err = f.Start(4); err != nil {
		f.end()
		return err
	}
	if inner := PackingOf(start); inner != "" {
		f.end()
		return f.fault("found a %s archive inside a %s archive, wanted an export packed once: unpack it", inner, f.packing)
	}
	return nil
}

// archive is the content of a packed file. It says of damage what it means.
type archive struct {
	file   *File
	reader io.Reader
}

func (a *archive) Read(p []byte) (int, error) {
	n, err := a.reader.Read(p)
	if err != nil && err != io.EOF {
		err = a.damage(err)
	}
	return n, err
}

// damage says what an error of the unpacking means; the disk's own stays as it is.
func (a *archive) damage(err error) error {
	f := a.file
	switch {
	case f.raw.err != nil:
		return f.raw.err
	case errors.Is(err, io.ErrUnexpectedEOF), err == io.EOF:
		return f.fault("found a %s archive that breaks off before its end: it was cut short when it was written or copied; copy or export it again", f.packing)
	case errors.Is(err, zstd.ErrWindowSizeExceeded):
		return f.fault("found a zstd archive that needs over %d MB to unpack: pack it again without --ultra and --long", zstdWindow>>20)
	}
	return f.fault("found a %s archive that is damaged, or has other bytes after its end: copy or export it again", f.packing)
}

// Watch hands unpacked on until it is clear that the archive is a trap. packed
// says how many bytes of the archive it has come from so far.
func Watch(unpacked io.Reader, name string, packed func() int64) io.Reader {
	return &watch{unpacked, name, packed, 0}
}

type watch struct {
	unpacked io.Reader
	name     string
	packed   func() int64
	count    int64
}

func (w *watch) Read(p []byte) (int, error) {
	n, err := w.unpacked.Read(p)
	w.count += int64(n)
	if w.count > mostUnpacked || w.count > trapSize && w.count/trapRatio > w.packed() {
		return 0, &Error{Name: w.name, Says: fmt.Sprintf("found an archive that unpacks to over %d times its size or over %d GB, which no export does: it is damaged or a trap; unpack it and look", trapRatio, mostUnpacked>>30)}
	}
	return n, err
}
