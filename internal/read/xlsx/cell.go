package xlsx

import (
	"bytes"
	"encoding/xml"
	"io"
	"strconv"
)

// cells knows what a workbook's cells mean.
type cells struct {
	pack      *pack
	shared    *shared
	formats   []shows
	epoch1904 bool
	comma     bool
	value     []byte
}

// noResult stands for a formula whose result the file does not hold: it is
// calculated by nobody. It is one of the errors that a cell can hold, and no
// reader takes it for a value.
const noResult = "#CALC!"

// read appends what the cell holds whose start has been read (18.3.1.4).
func (c *cells) read(b []byte, x *xml.Decoder, start xml.StartElement) ([]byte, error) {
	kind, style := attribute(start, "t"), attribute(start, "s")
	c.value = c.value[:0]
	inValue, hasValue, formula := false, false, false
	for {
		token, err := x.RawToken()
		if err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			return b, err
		}
		switch t := token.(type) {
		case xml.StartElement:
			switch t.Name.Local {
			case "v":
				inValue, hasValue = true, true
			case "f":
				formula = true
			case "is":
				if b, err = appendString(b, x, "is"); err != nil {
					return b, err
				}
			}
		case xml.CharData:
			if inValue {
				c.value = append(c.value, t...)
			}
		case xml.EndElement:
			switch t.Name.Local {
			case "v":
				inValue = false
			case "c":
				if formula && (!hasValue || len(c.value) == 0 && kind != "str") {
					return append(b, noResult...), nil
				}
				return c.append(b, kind, style)
			}
		}
	}
}

// append appends the value by the cell's type (18.18.11).
func (c *cells) append(b []byte, kind, style string) ([]byte, error) {
	switch kind {
	case "s":
		if len(c.value) == 0 {
			return b, nil
		}
		i, err := strconv.Atoi(string(c.value))
		if err != nil || c.shared == nil {
			return b, errIndex
		}
		text, known := c.shared.at(i)
		if !known {
			return b, errIndex
		}
		return append(b, text...), nil
	case "b":
		switch string(c.value) {
		case "1":
			return append(b, "true"...), nil
		case "0":
			return append(b, "false"...), nil
		}
		return append(b, c.value...), nil
	case "str":
		from := len(b)
		return unescape(append(b, c.value...), from), nil
	case "", "n":
		return c.number(b, style), nil
	}
	// d is a date as ISO 8601 has it, e an error such as #N/A; inlineStr has no value.
	return append(b, c.value...), nil
}

func (c *cells) number(b []byte, style string) []byte {
	if len(c.value) == 0 {
		return b
	}
	v, err := strconv.ParseFloat(string(c.value), 64)
	if err != nil {
		return append(b, c.value...)
	}
	if i, err := strconv.Atoi(style); err == nil && i >= 0 && i < len(c.formats) && c.formats[i] != 0 {
		return appendTime(b, v, c.formats[i], c.epoch1904)
	}
	if whole(c.value) {
		return append(b, c.value...)
	}
	from := len(b)
	b = appendNumber(b, v)
	if i := bytes.IndexByte(b[from:], '.'); c.comma && i >= 0 {
		b[from+i] = ','
	}
	return b
}
