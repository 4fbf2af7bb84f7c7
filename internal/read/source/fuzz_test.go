package source

import (
	"testing"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// UTF-16 and Windows-1252 are what Go's own decoders make of the whole, or a
// fault where these would put something in place of what they cannot read.
func FuzzText(f *testing.F) {
	for _, seed := range []string{"", "a\x00b\x00", "\x34\xd8\x1e\xdd", "\x1e\xdd", "a\x00\x34\xd8", "a\x00b", "M\xfcller \x80\x81", "\xc3\xbc", "\x1f\x8b\x08"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		if len(content) > 1<<12 || PackingOf(content) != "" {
			return
		}
		for _, m := range marks {
			if len(content) >= len(m.mark) && string(content[:len(m.mark)]) == m.mark {
				return
			}
		}
		units := make([]uint16, len(content)/2)
		for i := range units {
			units[i] = uint16(content[2*i]) | uint16(content[2*i+1])<<8
		}
		want := string(utf16.Decode(units))
		whole := len(content)%2 == 0 && len(utf16.Encode([]rune(want))) == len(units)
		for i, u := range utf16.Encode([]rune(want)) {
			whole = whole && u == units[i]
		}
		got, _, err := text(t, content, "utf-16le")
		if whole != (err == nil) || whole && got != want {
			t.Errorf("%q as UTF-16: %q %v, want %q (whole: %v)", content, got, err, want, whole)
		}
		decoded, _ := charmap.Windows1252.NewDecoder().Bytes(content)
		got, _, err = text(t, content, "windows-1252")
		if err == nil && got != string(decoded) || !utf8.ValidString(got) {
			t.Errorf("%q as Windows-1252: %q, want %q", content, got, decoded)
		}
	})
}
