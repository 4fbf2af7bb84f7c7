// Package delimited reads delimited text: comma, semicolon, tab or pipe, with
// quotes, doubled quotes and line breaks inside quotes as RFC 4180 has them. It
// hands the text out in segments that end where a record ends, so that several
// workers can parse one file, and knows for each record the physical line on
// which it begins.
package delimited

import (
	"bytes"
	"fmt"
	"io"
	"iter"
	"sync"

	"thawline/internal/read/source"
)

// segmentSize is how many bytes a segment aims at: what it becomes then stays in
// the processor's cache, and little is in memory at once. recordLimit is how many a
// single record may have: beyond it a quote is more likely never closed. They
// are variables for tests alone.
var (
	segmentSize = 1 << 20
	recordLimit = 64 << 20
)

// smallest is the first buffer of a file, in which the header is looked for;
// beyond middling it grows to a segment's.
const (
	smallest = 64 << 10
	middling = 256 << 10
)

// Export is one delimited file, its header read.
type Export struct {
	// Header holds the names of the columns without outer spaces; nil where the
	// file is blank.
	Header []string
	// Delimiter is the one stated or found.
	Delimiter byte

	// headerRow is the line that is stated for the header, or 0; above counts lines
	// before it that are not blank.
	headerRow, above int64

	name   string
	reader io.Reader
	// rest is what was read and not yet handed out; it begins at a record.
	rest []byte
	// line is the physical line on which rest begins.
	line  int64
	ended bool
}

// Open reads the header of r, which is UTF-8 without a byte order mark. name is
// the place in errors. delimiter parts the cells: one of , ; | and tab, or 0: to
// be found in the header. headerRow is the line on which the header stands, or 0:
// the first that is not blank. A file of another kind and a header whose delimiter is
// in doubt are errors of type *source.Error; others come from r. Where r is
// blank, there is no header.
func Open(r io.Reader, name string, delimiter byte, headerRow int64) (*Export, error) {
	e := &Export{name: name, reader: r, line: 1, Delimiter: delimiter, headerRow: headerRow}
	if delimiter != 0 && bytes.IndexByte(candidates, delimiter) < 0 {
		return nil, e.fault(0, "delimiter: found %q stated; wanted a comma, semicolon, tab or pipe", string(rune(delimiter)))
	}
	if err := e.fill(smallest); err != nil {
		return nil, err
	}
	// Files that were put together bring a mark each; before a name it is no part of it.
	for bytes.HasPrefix(e.rest, []byte(mark)) {
		e.rest = e.rest[len(mark):]
	}
	if kind := otherKind(e.rest); kind != "" {
		return nil, e.fault(0, "found %s, wanted delimited text: correct files: of this feed in site.yaml, or export the file as CSV", kind)
	}
	// Further on a NUL byte is found with its line.
	if nul := bytes.IndexByte(e.rest, 0); nul >= 0 && bytes.IndexByte(e.rest[:nul], '\n') < 0 {
		return nil, e.fault(1, nulByte)
	}
	if err := e.header(); err != nil {
		return nil, err
	}
	return e, nil
}

func (e *Export) fault(line int64, format string, args ...any) error {
	return &source.Error{Name: e.name, Place: line, Says: fmt.Sprintf(format, args...)}
}

// buffers holds segments' buffers for use again. A sync.Pool would lose them at
// each collection of garbage, and to clear a new one costs a tenth of a file.
var buffers bufferList

// bufferList keeps up to eight buffers.
type bufferList struct {
	mutex sync.Mutex
	free  [][]byte
}

// get gives an empty buffer that holds a segment and some more.
func (l *bufferList) get() []byte {
	l.mutex.Lock()
	defer l.mutex.Unlock()
	if n := len(l.free); n > 0 {
		b := l.free[n-1]
		l.free = l.free[:n-1]
		return b
	}
	return make([]byte, 0, segmentSize+segmentSize/4)
}

func (l *bufferList) put(b []byte) {
	l.mutex.Lock()
	defer l.mutex.Unlock()
	if len(l.free) < 8 && cap(b) >= segmentSize && cap(b) <= 2*segmentSize {
		l.free = append(l.free, b[:0])
	}
}

// fill reads until rest holds size bytes or the file ends. A file smaller than
// a segment never takes a segment's memory.
func (e *Export) fill(size int) error {
	for len(e.rest) < size && !e.ended {
		if len(e.rest) == cap(e.rest) {
			e.rest = append(e.room(size), e.rest...)
		}
		n, err := e.reader.Read(e.rest[len(e.rest):min(size, cap(e.rest))])
		e.rest = e.rest[:len(e.rest)+n]
		if err == io.EOF {
			e.ended = true
		} else if err != nil {
			return source.At(err, e.line+int64(bytes.Count(e.rest, newline)))
		}
	}
	return nil
}

// room returns an empty buffer larger than rest, up to size bytes.
func (e *Export) room(size int) []byte {
	switch have := cap(e.rest); {
	case have < middling:
		return make([]byte, 0, min(size, max(16*have, smallest)))
	case size <= segmentSize && have < segmentSize:
		return buffers.get()
	}
	return make([]byte, 0, size)
}

// cut returns where the last whole record in rest ends, reading more as needed.
// 0 says that nothing is left.
func (e *Export) cut() (int, error) {
	for size := segmentSize; ; size *= 2 {
		size = min(size, recordLimit)
		if err := e.fill(max(size, len(e.rest))); err != nil {
			return 0, err
		}
		end, quote := lastRecord(e.rest, e.Delimiter, e.ended)
		switch {
		case quote >= 0 && e.ended:
			return 0, e.fault(e.line+int64(bytes.Count(e.rest[:quote], newline)),
				"a quote opens on this line and never closes: repair the export; a quote inside a quoted cell is written twice")
		case end > 0:
			return end, nil
		case e.ended:
			return len(e.rest), nil
		case len(e.rest) >= recordLimit && quote >= 0:
			return 0, e.fault(e.line+int64(bytes.Count(e.rest[:quote], newline)),
				"a quote opens on this line and does not close within %d MB: repair the export; a quote inside a quoted cell is written twice", recordLimit>>20)
		case len(e.rest) >= recordLimit:
			return 0, e.fault(e.line, "found a line of over %d MB, wanted a record: the file is damaged or of another kind", recordLimit>>20)
		}
	}
}

var newline = []byte{'\n'}

// mark is the byte order mark as UTF-8.
const mark = "\xef\xbb\xbf"

// lastRecord returns the end of the last whole record of text (one past its
// line break), or 0, and the place of a quote that is open at the end of text,
// or -1. text begins at a record. A quote opens at the start of a cell alone:
// elsewhere it is a character like any other.
func lastRecord(text []byte, delimiter byte, ended bool) (end, open int) {
	at := 0
	for {
		q := bytes.IndexByte(text[at:], '"')
		if q < 0 {
			if n := bytes.LastIndexByte(text[at:], '\n'); n >= 0 {
				end = at + n + 1
			}
			return end, -1
		}
		q += at
		if n := bytes.LastIndexByte(text[at:q], '\n'); n >= 0 {
			end = at + n + 1
		}
		at = q + 1
		if q > 0 && text[q-1] != delimiter && text[q-1] != '\n' {
			continue
		}
		for {
			c := bytes.IndexByte(text[at:], '"')
			if c < 0 {
				return end, q
			}
			at += c + 1
			if at == len(text) {
				if ended {
					return end, -1
				}
				// The next byte decides whether the quote is doubled.
				return end, q
			}
			if text[at] != '"' {
				break
			}
			at++
		}
	}
}

// Segments yields the rest of the file in order, each segment ending where a
// record ends. It can be ranged over once. After an error nothing follows.
func (e *Export) Segments() iter.Seq2[*Segment, error] {
	return func(yield func(*Segment, error) bool) {
		for {
			end, err := e.cut()
			if err != nil {
				yield(nil, err)
				return
			}
			if end == 0 {
				buffers.put(e.rest)
				e.rest = nil
				return
			}
			s := &Segment{name: e.name, delimiter: e.Delimiter, text: e.rest[:end], width: len(e.Header), Line: e.line}
			left := e.rest[end:]
			e.rest = nil
			if len(left) > 0 || !e.ended {
				e.rest = append(buffers.get(), left...)
			}
			e.line += int64(bytes.Count(s.text, newline))
			if !yield(s, nil) {
				return
			}
		}
	}
}
