package source

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"math/rand"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// text writes content as export.csv and returns it as read, with what was found.
func text(t *testing.T, content []byte, stated string) (string, *Text, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "export.csv")
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := Open(path)
	if err != nil {
		return "", nil, err
	}
	defer f.Close()
	found, err := f.Text(stated)
	if err != nil {
		return "", nil, err
	}
	read, err := io.ReadAll(found)
	if err != nil {
		return string(read), found, err
	}
	sum, size, err := f.Sum()
	want := sha256.Sum256(content)
	if err != nil || sum != hex.EncodeToString(want[:]) || size != int64(len(content)) || f.Done() != size {
		t.Errorf("sum %s over %d bytes, error %v; want that of the file as it lies there", sum, size, err)
	}
	return string(read), found, nil
}

func gzipped(t testing.TB, parts ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	for _, part := range parts {
		w := gzip.NewWriter(&b)
		if _, err := w.Write([]byte(part)); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
	}
	return b.Bytes()
}

func zstded(t testing.TB, parts ...string) []byte {
	t.Helper()
	w, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	var b []byte
	for _, part := range parts {
		b = w.EncodeAll([]byte(part), b)
	}
	return b
}

func encoded(t testing.TB, text string, order unicode.Endianness, mark unicode.BOMPolicy) []byte {
	t.Helper()
	b, err := unicode.UTF16(order, mark).NewEncoder().Bytes([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// The characters of Windows-1252 beyond Latin-1 (the Encoding standard, WHATWG,
// index windows-1252), those of Latin-1, and for UTF-16 a pair of surrogates.
const western1252 = "name;wert\nM\u00fcller;1,5 \u20ac\n\u201cquoted\u201d\u2013\u0160\u017d\u0153\u2122;\u00a0\u00ff\n"

func TestEncodings(t *testing.T) {
	utf16 := western1252 + "\U0001d11e\n"
	narrow, err := charmap.Windows1252.NewEncoder().Bytes([]byte(western1252))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, stated string
		content      []byte
		want         string
		encoding     string
		marked       bool
	}{
		{"UTF-8", "", []byte(utf16), utf16, "utf-8", false},
		{"UTF-8, stated", "utf-8", []byte(utf16), utf16, "utf-8", false},
		{"UTF-8 with a mark", "", []byte("\xef\xbb\xbf" + utf16), utf16, "utf-8", true},
		{"UTF-8 with a mark, and another stated", "windows-1252", []byte("\xef\xbb\xbf" + utf16), utf16, "utf-8", true},
		{"UTF-16 little end first", "", encoded(t, utf16, unicode.LittleEndian, unicode.UseBOM), utf16, "utf-16le", true},
		{"UTF-16 big end first", "", encoded(t, utf16, unicode.BigEndian, unicode.UseBOM), utf16, "utf-16be", true},
		{"UTF-16 without a mark", "utf-16", encoded(t, utf16, unicode.LittleEndian, unicode.IgnoreBOM), utf16, "utf-16le", false},
		{"UTF-16 without a mark, big end first", "utf-16", encoded(t, utf16, unicode.BigEndian, unicode.IgnoreBOM), utf16, "utf-16be", false},
		{"UTF-16, its order stated", "UTF-16LE", encoded(t, "h1", unicode.LittleEndian, unicode.IgnoreBOM), "h1", "utf-16le", false},
		{"Windows-1252", "windows-1252", narrow, western1252, "windows-1252", false},
		{"bytes that are not UTF-8 are for the format to find", "", narrow, string(narrow), "utf-8", false},
		{"empty", "", nil, "", "utf-8", false},
		{"empty, UTF-16 with a mark", "", []byte("\xff\xfe"), "", "utf-16le", true},
		{"gzip", "", gzipped(t, utf16), utf16, "utf-8", false},
		{"gzip, several members (RFC 1952, 2.2)", "", gzipped(t, "a;b\n", "", "1;2\n"), "a;b\n1;2\n", "utf-8", false},
		{"gzip of nothing", "", gzipped(t, ""), "", "utf-8", false},
		{"gzip of UTF-16", "", gzipped(t, string(encoded(t, utf16, unicode.LittleEndian, unicode.UseBOM))), utf16, "utf-16le", true},
		{"zstd", "", zstded(t, utf16), utf16, "utf-8", false},
		{"zstd, several frames (RFC 8878, 3.1)", "", zstded(t, "a;b\n", "1;2\n"), "a;b\n1;2\n", "utf-8", false},
		{"zstd, a skippable frame first (RFC 8878, 3.1.2)", "", append([]byte("\x50\x2a\x4d\x18\x02\x00\x00\x00hi"), zstded(t, "a;b\n")...), "a;b\n", "utf-8", false},
		{"zstd of Windows-1252", "windows-1252", zstded(t, string(narrow)), western1252, "windows-1252", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, found, err := text(t, c.content, c.stated)
			if err != nil {
				t.Fatal(err)
			}
			if got != c.want || found.Encoding != c.encoding || found.Marked != c.marked {
				t.Errorf("%q in %s, marked %v; want %q in %s, marked %v", got, found.Encoding, found.Marked, c.want, c.encoding, c.marked)
			}
		})
	}
}

func TestDamage(t *testing.T) {
	long := strings.Repeat("P1;INR;1.4;2026-01-02 10:15\n", 10_000)
	gz, zs := gzipped(t, long), zstded(t, long)
	rotten := bytes.Clone(gz)
	rotten[len(rotten)-6]++ // In the checksum (RFC 1952, 2.3.1).
	rottenZs := bytes.Clone(zs)
	rottenZs[len(rottenZs)-1]++ // In the content checksum (RFC 8878, 3.1.1).
	for _, c := range []struct {
		name, stated string
		content      []byte
		says         []string
	}{
		{"gzip cut short", "", gz[:len(gz)/2], []string{"gzip", "breaks off", "again"}},
		{"gzip cut in its first bytes", "", gz[:5], []string{"gzip", "breaks off"}},
		{"gzip cut in its checksum", "", gz[:len(gz)-2], []string{"gzip", "breaks off"}},
		{"gzip with a wrong checksum", "", rotten, []string{"gzip", "damaged"}},
		{"gzip with other bytes after it", "", append(bytes.Clone(gz), "and many more bytes"...), []string{"gzip", "after its end"}},
		{"gzip whose second member is cut short", "", append(bytes.Clone(gz), gz[:len(gz)/2]...), []string{"gzip", "breaks off"}},
		{"zstd cut short", "", zs[:len(zs)/2], []string{"zstd", "breaks off"}},
		{"zstd with a wrong checksum", "", rottenZs, []string{"zstd", "damaged"}},
		{"zstd with other bytes after it", "", append(bytes.Clone(zs), "and many more bytes"...), []string{"zstd", "after its end"}},
		{"packed twice", "", gzipped(t, string(gz)), []string{"gzip archive inside a gzip archive", "unpack"}},
		{"packed twice by two", "", zstded(t, string(gz)), []string{"gzip archive inside a zstd archive"}},
		{"UTF-16 of an odd length", "", []byte("\xff\xfea\x00b"), []string{"UTF-16", "middle of a character"}},
		{"UTF-16 with a low surrogate alone", "", []byte("\xff\xfea\x00\x1e\xddb\x00"), []string{"UTF-16", "half a character"}},
		{"UTF-16 with a high surrogate alone", "", []byte("\xff\xfe\x34\xd8b\x00"), []string{"half a character"}},
		{"UTF-16 that ends on a high surrogate", "", []byte("\xff\xfeb\x00\x34\xd8"), []string{"half a character"}},
		{"UTF-16 that shows no order", "utf-16", []byte("h\x001\x00"), []string{"utf-16le or utf-16be"}},
		{"Windows-1252 that is none", "windows-1252", []byte("a\x81b"), []string{"windows-1252", "81", "UTF-8"}},
		{"an encoding that is none", "ebcdic", []byte("a"), []string{"ebcdic", "windows-1252"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, _, err := text(t, c.content, c.stated)
			var fault *Error
			if !errors.As(err, &fault) || fault.Name != "export.csv" {
				t.Fatalf("error %v, want a fault of export.csv", err)
			}
			for _, word := range c.says {
				if !strings.Contains(err.Error(), word) {
					t.Errorf("%q does not say %q", err, word)
				}
			}
		})
	}
}

// A statement that the text itself speaks against is said; one that fits is not.
func TestNoteOfAWrongStatement(t *testing.T) {
	for content, noted := range map[string]bool{
		"M\xc3\xbcller\n": true, "\xe2\x82\xac": true, // UTF-8
		"M\xfcller\n": false, "M\xfcller \xc3\xbc": false, "plain\n": false, "\xc3": false, "M\xfc": false,
	} {
		_, found, err := text(t, []byte(content), "windows-1252")
		if err != nil || (found.Note() != "") != noted {
			t.Errorf("%q: note %q, error %v; want a note: %v", content, found.Note(), err, noted)
		}
	}
	// The letter is C3 81 in UTF-8, and 81 is no byte of Windows-1252.
	if _, _, err := text(t, []byte("\xc3\x81lvaro"), "windows-1252"); err == nil || !strings.Contains(err.Error(), "state encoding: utf-8") {
		t.Errorf("error %v", err)
	}
}

// A small archive that would unpack to much stops early; a dense export does not.
func TestTraps(t *testing.T) {
	size, most := trapSize, mostUnpacked
	t.Cleanup(func() { trapSize, mostUnpacked = size, most })
	trapSize = 1 << 20
	bomb := strings.Repeat("\x00", 64<<20)
	for name, content := range map[string][]byte{"gzip": gzipped(t, bomb), "zstd": zstded(t, bomb)} {
		got, _, err := text(t, content, "")
		if err == nil || !strings.Contains(err.Error(), "trap") || len(got) > 16<<20 {
			t.Errorf("%s: %d bytes, error %v; want it stopped early", name, len(got), err)
		}
	}
	random := rand.New(rand.NewSource(1))
	var b strings.Builder
	for range 100_000 {
		b.WriteString("P0000001;INR;1." + string(rune('0'+random.Intn(10))) + ";2026-01-02 10:15:00;2026-01-02 10:55:00;final\n")
	}
	for name, content := range map[string][]byte{"gzip": gzipped(t, b.String()), "zstd": zstded(t, b.String())} {
		if got, _, err := text(t, content, ""); err != nil || got != b.String() {
			t.Errorf("%s: %d of %d bytes, error %v", name, len(got), b.Len(), err)
		}
	}
	mostUnpacked = 1 << 20
	if _, _, err := text(t, gzipped(t, b.String()), ""); err == nil {
		t.Error("over the limit of all, and no error")
	}
}

// A file that somebody still writes is no reading.
func TestChangedFile(t *testing.T) {
	for name, change := range map[string]func(path string) error{
		"longer":  func(path string) error { return os.WriteFile(path, []byte("a;b\n1;2\n"), 0o600) },
		"as long": func(path string) error { return os.Chtimes(path, time.Time{}, time.Unix(1, 0)) },
		"replaced": func(path string) error {
			return errors.Join(os.Remove(path), os.WriteFile(path, []byte("a;b\n"), 0o600))
		},
		"taken off": os.Remove,
	} {
		path := filepath.Join(t.TempDir(), "export.csv")
		if err := os.WriteFile(path, []byte("a;b\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		f, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := change(path); err != nil {
			t.Fatal(err)
		}
		if _, _, err := f.Sum(); err == nil {
			t.Errorf("%s: no error", name)
		}
		f.Close()
	}
}
