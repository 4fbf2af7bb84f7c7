package delimited

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math/rand"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/read/source"
)

type row struct {
	Line  int64
	Cells []string
}

// read returns the header and all rows of text, segment by segment.
func read(text string, delimiter byte) ([]string, []row, error) {
	return readFrom(strings.NewReader(text), delimiter)
}

func readFrom(r io.Reader, delimiter byte) ([]string, []row, error) {
	e, err := Open(r, "export.csv", delimiter, 0)
	if err != nil {
		return nil, nil, err
	}
	var rows []row
	for s, err := range e.Segments() {
		if err != nil {
			return e.Header, rows, err
		}
		err := s.Rows(func(line int64, cells [][]byte) bool {
			r := row{Line: line}
			for _, c := range cells {
				r.Cells = append(r.Cells, string(c))
			}
			rows = append(rows, r)
			return true
		})
		s.Release()
		if err != nil {
			return e.Header, rows, err
		}
	}
	return e.Header, rows, nil
}

// small makes segments of n bytes and a limit of m for one test.
func small(t testing.TB, n, m int) {
	size, limit := segmentSize, recordLimit
	segmentSize, recordLimit = n, m
	t.Cleanup(func() { segmentSize, recordLimit = size, limit })
}

func TestRows(t *testing.T) {
	cases := []struct {
		name, text string
		header     string // cells joined by |
		rows       string // line:cells joined by |, rows parted by a blank
	}{
		// RFC 4180, section 2, rules 1 to 7, each with its example.
		{"RFC 4180 rule 1", "h1,h2,h3\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", "h1|h2|h3", "2:aaa|bbb|ccc 3:zzz|yyy|xxx"},
		{"RFC 4180 rule 2, no last line break", "h1,h2,h3\r\naaa,bbb,ccc", "h1|h2|h3", "2:aaa|bbb|ccc"},
		{"RFC 4180 rule 4, spaces are part of a cell", "h1,h2\n a ,b\n", "h1|h2", "2:·a·|b"},
		{"RFC 4180 rule 5", "h1,h2,h3\r\n\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx", "h1|h2|h3", "2:aaa|bbb|ccc 3:zzz|yyy|xxx"},
		{"RFC 4180 rule 6", "h1,h2,h3\r\n\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx", "h1|h2|h3", "2:aaa|b␍␊bb|ccc 4:zzz|yyy|xxx"},
		{"RFC 4180 rule 7", "h1,h2,h3\n\"aaa\",\"b\"\"bb\",\"ccc\"\n", "h1|h2|h3", "2:aaa|b\"bb|ccc"},
		// Beyond it: our own cases.
		{"a delimiter in quotes", "h1,h2\n\"a,b\",c\n", "h1|h2", "2:a,b|c"},
		{"a quote inside a cell is a character", "h1,h2\n5\" tube,b\nc,d\n", "h1|h2", "2:5\"·tube|b 3:c|d"},
		{"text after the closing quote is kept", "h1,h2\n\"a\"b\"c,d\ne,f\n", "h1|h2", "2:ab\"c|d 3:e|f"},
		{"two quotes that are characters, in one line", "h1,h2,h3\na,\"b,\"c\nd,\"e\"f,g\n", "h1|h2|h3", "2:a|b,c 3:d|ef|g"},
		{"a space after the closing quote", "h1,h2\n\"a\nb\" ,c\n\"d\ne\"\t\r\n", "h1|h2", "2:a␊b·|c 4:d␊e\t"},
		{"lines that end as a cell ends, in quotes", "h1,h2,h3,h4\na,b,c,\"d,\n,\ne,\"\nf,g,\"\n\",h\n", "h1|h2|h3|h4", "2:a|b|c|d,␊,␊e, 5:f|g|␊|h"},
		{"a table in a cell", "h1,h2,h3,h4\na,b,\"c,d,e,f\n\"\"g\"\",h,i,j\n\",k\n", "h1|h2|h3|h4", "2:a|b|c,d,e,f␊\"g\",h,i,j␊|k"},
		{"quotes alone", "h1,h2\n\"\",\"\"\"\"\n", "h1|h2", "2:|\""},
		{"many doubled quotes", "h1,h2\n\"\"\"a\"\" \"\"b\"\"\",c\n", "h1|h2", "2:\"a\"·\"b\"|c"},
		{"empty cells", "h1,h2,h3\n,,\na,,\n", "h1|h2|h3", "2:|| 3:a||"},
		{"an empty cell at the end of the file", "h1,h2\na,", "h1|h2", "2:a|"},
		{"blank lines", "\n\r\nh1,h2\n\na,b\n   \n\r\nc,d\n\n", "h1|h2", "5:a|b 8:c|d"},
		{"a byte order mark", "\xef\xbb\xbfh1,h2\na,b\n", "h1|h2", "2:a|b"},
		{"a byte order mark and quotes", "\xef\xbb\xbf\"h1\",h2\na,b\n", "h1|h2", "2:a|b"},
		{"semicolons", "h1;h2\na,b;c\n", "h1|h2", "2:a,b|c"},
		{"tabs", "h1\th2\na\tb\n", "h1|h2", "2:a|b"},
		{"pipes", "h1|h2\na|b\n", "h1|h2", "2:a|b"},
		{"a comma in a quoted name", "\"Name, first\";h2\na;b\n", "Name,·first|h2", "2:a|b"},
		{"a quote in a name", "h\"\";h2\na;b\n", "h\"\"|h2", "2:a|b"},
		{"one column", "h1\na\n\"b\"\n", "h1", "2:a 3:b"},
		{"a header over two lines", "\"h\n1\",h2\na,b\n", "h␊1|h2", "3:a|b"},
		{"the delimiter told above the header", "sep=;\r\nh1;h,2\r\na;b\r\n", "h1|h,2", "3:a|b"},
		{"more and fewer cells than the header", "h1,h2\na\nb,c,d\n", "h1|h2", "2:a 3:b|c|d"},
		{"a carriage return inside a line", "h1,h2\na\rb,c\n", "h1|h2", "2:a␍b|c"},
		{"a carriage return at the end of a quoted cell", "h1,h2\n\"a\r\",\"b\r\"\r\n\"c\",\"d\r\"", "h1|h2", "2:a␍|b␍ 3:c|d␍"},
		{"marks of files that were put together", "\xef\xbb\xbf\xef\xbb\xbfh1,h2\na,b\n", "h1|h2", "2:a|b"},
		{"blank", "\n \r\n", "", ""},
		{"empty", "", "", ""},
		{"no rows", "h1,h2\n", "h1|h2", ""},
		{"a header over two lines with CRLF", "\"h\r\n1\",h2\r\na,b\r\n", "h␍␊1|h2", "3:a|b"},
		{"letters of any script", "h1,h2\nä,東\n", "h1|h2", "2:ä|東"},
	}
	plain := strings.NewReplacer(" ", "·", "\r", "␍", "\n", "␊")
	for _, c := range cases {
		for _, size := range []int{1 << 20, 1, 3, 7} {
			t.Run(fmt.Sprintf("%s/%d", c.name, size), func(t *testing.T) {
				small(t, size, 1<<20)
				header, rows, err := read(c.text, 0)
				if err != nil {
					t.Fatal(err)
				}
				var told []string
				for _, r := range rows {
					told = append(told, fmt.Sprintf("%d:%s", r.Line, plain.Replace(strings.Join(r.Cells, "|"))))
				}
				if got := plain.Replace(strings.Join(header, "|")); got != c.header {
					t.Errorf("header %s, want %s", got, c.header)
				}
				if got := strings.Join(told, " "); got != c.rows {
					t.Errorf("rows %s, want %s", got, c.rows)
				}
			})
		}
	}
}

func TestFaults(t *testing.T) {
	rows := strings.Repeat("a,b\n", 20)
	cases := []struct {
		name, text string
		delimiter  byte
		line       int64
		says       []string
	}{
		{"unclosed quote", "h1,h2\na,b\nc,\"d\ne,f\n", 0, 3, []string{"quote", "never closes", "twice"}},
		{"unclosed quote in the header", "h1,\"h2\na,b\n", 0, 1, []string{"quote", "header"}},
		{"quotes that are characters, two lines apart", "h1,h2\na,b\nc,\"d\ne,f\ng,\"h\ni,j\n", 0, 3, []string{"quote opens on this line", "lost", "twice"}},
		{"the same with CRLF", "h1,h2\r\na,b\r\nc,\"d\r\ne,f\r\ng,\"h\r\ni,j\r\n", 0, 3, []string{"quote opens on this line"}},
		{"the same before a cell in quotes", "h1,h2\na,\"b\nc,\"d, e\"\nf,g\n", 0, 2, []string{"quote opens on this line"}},
		{"the second quote is all of its cell", "h1,h2,h3,h4\na,b,c,d\ne,\"f,g,h\ni,j,k,l\nm,\",n,o\n", 0, 3, []string{"quote opens on this line"}},
		{"and begins its line", "h1,h2,h3,h4\na,b,c,\"d\n\",f,g,h\n", 0, 2, []string{"quote opens on this line"}},
		{"after a cell over two lines in the same row", "h1,h2\n\"a\nb\",\"c\nd,\"e\n", 0, 3, []string{"quote opens on this line"}},
		{"a header that runs on", "h1,\"h2\na,\"b\nc,d\n", 0, 1, []string{"quote opens on this line"}},
		{"quote open beyond the limit", "h1,h2\na,b\nc,\"d\n" + strings.Repeat("e,f\n", 100_000), 0, 3, []string{"does not close"}},
		{"gigantic cell", "h1,h2\na,b\nc," + strings.Repeat("x", 100_000) + "\n", 0, 3, []string{"line of over", "damaged"}},
		{"not UTF-8", "h1,h2\n" + rows + "a,M\xfcller\n", 0, 22, []string{"UTF-8", "export"}},
		{"header not UTF-8", "h1,Gr\xf6\xdfe\na,b\n", 0, 1, []string{"UTF-8"}},
		{"NUL byte", "h1,h2\n" + rows + strings.Repeat("a,b\n", 20_000) + "a,\x00\n", 0, 20_022, []string{"NUL"}},
		{"UTF-16 without a mark", "h\x001\x00,\x00", 0, 1, []string{"UTF-16", "NUL"}},
		{"old spreadsheet", "\xd0\xcf\x11\xe0", 0, 0, []string{"XLS", "password"}},
		{"PDF", "%PDF-1.7\n", 0, 0, []string{"PDF"}},
		{"HL7", "MSH|^~\\&|LAB|\r", 0, 0, []string{"HL7"}},
		{"JSON", "{\"resourceType\":\"Observation\"}\n", 0, 0, []string{"JSON"}},
		{"HTML", "<html><table>", 0, 0, []string{"HTML"}},
		{"two delimiters", "h1,h2;h3\na,b;c\n", 0, 1, []string{"commas and semicolons", "delimiter:"}},
		{"carriage returns alone", "h1,h2\ra,b\rc,d\r", 0, 1, []string{"carriage return"}},
		{"many carriage returns alone", "h1,h2\r" + strings.Repeat("a,b\r", 1<<20), 0, 1, []string{"carriage return"}},
		{"a long header", strings.Repeat("h1,", 1<<20), 0, 1, []string{"header of over 1 MB"}},
		{"unknown delimiter", "h1,h2\n", 'x', 0, []string{"delimiter"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			small(t, 1<<10, 64<<10)
			_, _, err := read(c.text, c.delimiter)
			var fault *source.Error
			if !errors.As(err, &fault) {
				t.Fatalf("error %v, want a fault with its place", err)
			}
			if fault.Place != c.line || fault.Name != "export.csv" {
				t.Errorf("place %s:%d, want line %d", fault.Name, fault.Place, c.line)
			}
			for _, word := range c.says {
				if !strings.Contains(err.Error(), word) {
					t.Errorf("%q says nothing of %q", err, word)
				}
			}
		})
	}
}

func TestStatedDelimiterEndsDoubt(t *testing.T) {
	header, rows, err := read("h1,h2;h3\na,b;c\n", ';')
	if err != nil || !cmp.Equal(header, []string{"h1,h2", "h3"}) || !cmp.Equal(rows, []row{{2, []string{"a,b", "c"}}}) {
		t.Errorf("%v %v %v", header, rows, err)
	}
}

func TestErrorOfTheDiskIsHandedOn(t *testing.T) {
	broken := errors.New("input/output error")
	_, _, err := readFrom(io.MultiReader(strings.NewReader("h1,h2\na,b\n"), iotest.ErrReader(broken)), 0)
	if !errors.Is(err, broken) {
		t.Errorf("error %v", err)
	}
}

// However the bytes arrive and wherever segments are cut, the rows are the same.
func TestSegmentsDoNotChangeRows(t *testing.T) {
	random := rand.New(rand.NewSource(1))
	pieces := []string{"a", "\"", "\"\"", ",", "\n", "\r\n", "ä", "\"b\"", "\"c\nd\"", " ", "\"e,\"\"f\""}
	for range 3_000 {
		var b strings.Builder
		b.WriteString("h1,h2\n")
		for range random.Intn(40) {
			b.WriteString(pieces[random.Intn(len(pieces))])
		}
		compareSegments(t, b.String())
	}
}

func compareSegments(t *testing.T, text string) {
	t.Helper()
	segmentSize, recordLimit = 1<<20, 1<<20
	header, rows, err := read(text, ',')
	for _, size := range []int{1, 2, 5, 11} {
		segmentSize = size
		gotHeader, got, gotErr := readFrom(iotest.OneByteReader(strings.NewReader(text)), ',')
		// Of several faults, the one met first may differ.
		if (err == nil) != (gotErr == nil) {
			t.Fatalf("%q in segments of %d: error %v, want %v", text, size, gotErr, err)
		}
		if err == nil && (!cmp.Equal(header, gotHeader) || !cmp.Equal(rows, got)) {
			t.Fatalf("%q in segments of %d: %v %v, want %v %v", text, size, gotHeader, got, header, rows)
		}
	}
	// Go's own reader is stricter: what it takes, we read the same. It turns
	// CRLF inside quotes into LF, and keeps lines of spaces.
	theirs := csv.NewReader(strings.NewReader(text))
	theirs.FieldsPerRecord = -1
	all, strictErr := theirs.ReadAll()
	if strictErr != nil || err != nil || len(all) == 0 || blank([]byte(all[0][0])) {
		return
	}
	var want, got [][]string
	for _, cells := range all[1:] {
		if len(cells) > 1 || !blank([]byte(cells[0])) {
			want = append(want, cells)
		}
	}
	for _, r := range rows {
		var cells []string
		for _, c := range r.Cells {
			cells = append(cells, strings.ReplaceAll(c, "\r\n", "\n"))
		}
		if len(cells) > 1 || !blank([]byte(cells[0])) {
			got = append(got, cells)
		}
	}
	if !cmp.Equal(want, got) {
		t.Fatalf("%q: %q, Go reads %q", text, got, want)
	}
}

func FuzzRows(f *testing.F) {
	for _, text := range []string{"h1,h2\na,b\n", "h1,h2\n\"a\"\"b\",\"c\r\nd\"\n", "\xef\xbb\xbfh;h\n\"", "sep=,\nh\n\"\"\"\"", "h,h\n,\"", "\"h\n\",\n\"a\"b\"c\n"} {
		f.Add([]byte(text))
	}
	small(f, 1<<20, 1<<20)
	f.Fuzz(func(t *testing.T, text []byte) {
		if len(text) > 1<<11 || bytes.HasPrefix(bytes.TrimSpace(text), []byte("sep=")) {
			return // Go's reader does not know this line.
		}
		if bytes.HasPrefix(text, []byte("\xef\xbb\xbf")) {
			return // Nor the mark.
		}
		compareSegments(t, string(text))
	})
}

func BenchmarkRows(b *testing.B) {
	for name, line := range map[string]string{
		"plain":  "P1234567,INR,1.4,,2025-03-01 10:15,2025-03-01 10:55,final,R00012345\n",
		"quoted": "\"P1234567\",\"INR\",\"1.4\",\"\",\"2025-03-01 10:15\",\"2025-03-01 10:55\",\"final\",\"R00012345\"\r\n",
	} {
		text := []byte("a,b,c,d,e,f,g,h\n" + strings.Repeat(line, 500_000))
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			for range b.N {
				e, err := Open(bytes.NewReader(text), "bench.csv", 0, 0)
				if err != nil {
					b.Fatal(err)
				}
				for s, err := range e.Segments() {
					if err != nil {
						b.Fatal(err)
					}
					if err := s.Rows(func(int64, [][]byte) bool { return true }); err != nil {
						b.Fatal(err)
					}
					s.Release()
				}
			}
		})
	}
}
