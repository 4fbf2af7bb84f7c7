package invent

import (
	"bufio"
	"os"
	"path/filepath"
	"strings"
)

// sheet writes one delimited file row by row. The first error stays and is told
// by close.
type sheet struct {
	file      *os.File
	out       *bufio.Writer
	delimiter byte
	width     int
	err       error
}

func newSheet(path string, delimiter byte, header string) (*sheet, error) {
	file, err := os.OpenFile(filepath.Clean(path), os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o640)
	if err != nil {
		return nil, err
	}
	s := &sheet{file: file, out: bufio.NewWriterSize(file, 1<<18), delimiter: delimiter}
	cells := strings.Split(header, "|")
	s.width = len(cells)
	s.row(cells...)
	return s, nil
}

// row writes the cells, quoted where they must be.
func (s *sheet) row(cells ...string) {
	for i, cell := range cells {
		if i > 0 {
			s.out.WriteByte(s.delimiter)
		}
		if strings.IndexByte(cell, s.delimiter) >= 0 || strings.ContainsAny(cell, "\"\n") {
			cell = `"` + strings.ReplaceAll(cell, `"`, `""`) + `"`
		}
		s.out.WriteString(cell)
	}
	if err := s.out.WriteByte('\n'); err != nil && s.err == nil {
		s.err = err
	}
}

// raw writes a line as it is; cells that it lacks are empty.
func (s *sheet) raw(line string) {
	cells := strings.Split(line, string(s.delimiter))
	for len(cells) < s.width {
		cells = append(cells, "")
	}
	s.row(cells...)
}

// close flushes and closes the file.
func (s *sheet) close() error {
	err := s.err
	if flushed := s.out.Flush(); err == nil {
		err = flushed
	}
	if closed := s.file.Close(); err == nil {
		err = closed
	}
	return err
}
