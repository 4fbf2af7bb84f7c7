package source

import (
	"bufio"
	"bytes"
	"io"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// Encodings are the names that a site may state, utf-16 meaning either order
// of its bytes.
var Encodings = []string{"utf-8", "utf-16", "utf-16le", "utf-16be", "windows-1252"}

// Text is the content of a file as UTF-8 without a byte order mark. UTF-8 is
// handed on unchecked: the formats check it while they parse, side by side.
type Text struct {
	*bufio.Reader
	// Encoding is the one found or stated: utf-8, utf-16le, utf-16be or
	// windows-1252.
	Encoding string
	// Marked says that a byte order mark stands at the start.
	Marked bool

	note func() string
}

// Note is a sentence about what may be wrong with the encoding that is stated,
// once all is read, or empty.
func (t *Text) Note() string {
	if t.note == nil {
		return ""
	}
	return t.note()
}

// marks are the byte order marks (Unicode, section 23.8).
var marks = []struct{ encoding, mark string }{
	{"utf-8", "\xef\xbb\xbf"}, {"utf-16le", "\xff\xfe"}, {"utf-16be", "\xfe\xff"},
}

// Text gives the content as UTF-8. A byte order mark goes before the encoding
// that is stated, as in the Encoding standard (WHATWG, 6 "decode"); without
// either the text is UTF-8. Nothing else is guessed.
func (f *File) Text(stated string) (*Text, error) {
	start, err := f.Start(ahead)
	if err != nil {
		return nil, err
	}
	stated = strings.ToLower(strings.TrimSpace(stated))
	t := &Text{Encoding: stated}
	for _, m := range marks {
		if bytes.HasPrefix(start, []byte(m.mark)) {
			t.Encoding, t.Marked = m.encoding, true
			if _, err := f.content.Discard(len(m.mark)); err != nil {
				return nil, err
			}
			break
		}
	}
	switch t.Encoding {
	case "":
		t.Encoding = "utf-8"
	case "utf8":
		t.Encoding = "utf-8"
	case "utf-16":
		if t.Encoding = byteOrder(start); t.Encoding == "" {
			return nil, f.fault("encoding: found utf-16 stated and a file that does not show the order of its bytes: state utf-16le or utf-16be, or export it with a byte order mark")
		}
	}
	switch t.Encoding {
	case "utf-8":
		t.Reader = f.content
	case "utf-16le":
		t.Reader = decoded(&pairs{file: f, high: 1}, unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM).NewDecoder())
	case "utf-16be":
		t.Reader = decoded(&pairs{file: f, high: 0}, unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM).NewDecoder())
	case "windows-1252":
		w := &western{file: f}
		t.Reader, t.note = decoded(w, charmap.Windows1252.NewDecoder()), w.note
	default:
		return nil, f.fault("encoding: found %q stated, wanted one of %s", stated, strings.Join(Encodings, ", "))
	}
	return t, nil
}

func decoded(r io.Reader, d transform.Transformer) *bufio.Reader {
	return bufio.NewReaderSize(transform.NewReader(r, d), ahead)
}

// byteOrder finds the order of UTF-16 by a line feed: U+0A00, which it would be
// in the other order, is no character.
func byteOrder(start []byte) string {
	little, big := false, false
	for i := 0; i+1 < len(start); i += 2 {
		little = little || start[i] == '\n' && start[i+1] == 0
		big = big || start[i] == 0 && start[i+1] == '\n'
	}
	switch {
	case little && !big:
		return "utf-16le"
	case big && !little:
		return "utf-16be"
	}
	return ""
}

// western hands on bytes that Windows-1252 has. The five that it has not say
// that the text is of another encoding.
type western struct {
	file *File
	// beyond counts bytes beyond ASCII, and other those that no UTF-8 has so;
	// begun is a character that a read has cut.
	beyond, other int64
	begun         []byte
}

func (w *western) Read(p []byte) (int, error) {
	n, err := w.file.content.Read(p)
	for i, c := range p[:n] {
		switch c {
		case 0x81, 0x8d, 0x8f, 0x90, 0x9d:
			if w.beyond == 0 || w.other > 0 {
				return i, w.file.fault("encoding: found windows-1252 stated and a byte that it does not have (%02X): state the encoding of this export, or export it as UTF-8", c)
			}
			// Likely in UTF-8.
			return i, w.file.fault("encoding: found windows-1252 stated and text that reads as UTF-8: state encoding: utf-8 for this feed in site.yaml")
		}
		if c >= utf8.RuneSelf || len(w.begun) > 0 {
			w.weigh(c)
		}
	}
	return n, err
}

// weigh follows whether what lies beyond ASCII would be UTF-8.
func (w *western) weigh(c byte) {
	if c >= utf8.RuneSelf {
		w.beyond++
	}
	w.begun = append(w.begun, c)
	if !utf8.FullRune(w.begun) {
		return
	}
	if r, size := utf8.DecodeRune(w.begun); r == utf8.RuneError && size == 1 {
		w.other++
	}
	w.begun = w.begun[:0]
}

// note says that the statement is in doubt.
func (w *western) note() string {
	if w.beyond > 0 && w.other == 0 && len(w.begun) == 0 {
		return "encoding: windows-1252 is stated, and all that lies beyond ASCII reads as UTF-8: look at a name with an accent, and state encoding: utf-8 if it is wrong"
	}
	return ""
}

// pairs hands on UTF-16 whose surrogates stand in pairs (RFC 2781, 2.2), which
// the decoder would replace without a word.
type pairs struct {
	file *File
	// high is the place of the high byte in a code unit.
	high int
	// odd is a byte left over from the last read, open that a pair has begun.
	odd  []byte
	open bool
}

const halfPair = "found UTF-16 with half a character: the file is damaged; export it again"

func (u *pairs) Read(p []byte) (int, error) {
	n := copy(p, u.odd)
	u.odd = u.odd[:0]
	more, err := u.file.content.Read(p[n:])
	n += more
	if n%2 == 1 {
		if err != nil {
			if err == io.EOF {
				err = u.file.fault("found UTF-16 that ends in the middle of a character: the file was cut short; copy or export it again")
			}
			return n - 1, err
		}
		n--
		u.odd = append(u.odd, p[n])
	}
	for i := 0; i < n; i += 2 {
		unit := p[i+u.high] & 0xfc
		if u.open != (unit == 0xdc) {
			return i, u.file.fault(halfPair)
		}
		u.open = unit == 0xd8
	}
	if err == io.EOF && u.open {
		return n, u.file.fault(halfPair)
	}
	return n, err
}
