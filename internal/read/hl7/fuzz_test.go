package hl7

import (
	"bufio"
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"thawline/internal/contract"
	"thawline/internal/read/row"
)

// Whatever the bytes, a file is read to its end: each row has all its cells, in
// UTF-8, or a fault or another name, and a place within the file.
func FuzzMessages(f *testing.F) {
	for _, text := range []string{
		header + "\nPID|||P1^^^TARN^MR~N1^^^NAT^NI\nOBR||||C|||20250310\nOBX|1|SN|6301-6^INR^LN||<^0.5|{INR}^x|||||F|||202503100900+0100\nSPM|1||||||||||||||||202503100858\n",
		"FHS|^~\\&|A\nBHS|^~\\&|A\n" + header + "\nOBX|1|ST|A||\\X41\\\\.br\\\\E||||||D\nBTS|1\nFTS|1\n",
		bpx("DS", "F", "202503100900", nil) + bpx("RA", "C", "20250310", nil) + bpx("DS", "D", "", nil),
		bpx("DS", "F", "202503100900", map[int]string{5: "", 10: "L", 14: "3"}) + btx("TX", "F", "202503101031", "202503100930", "", map[int]string{2: "", 7: "L"}),
		btx("TR", "W", "202503101031", "202503100930", "", map[int]string{18: "VOLOVER"}),
		"MSH$!*?%$LIS$$$$2025$$ORU!R01$1$P$2.5\nOBX$1$NM$A$$1*2\n", "MSH|\nMSH|^|||||||||||||||||8859/1\nOBX|\xff\n", "MSH|^~\\&\x0b\nOBX\n", "BTS\n", header,
	} {
		f.Add([]byte(text))
		f.Add([]byte(strings.ReplaceAll(text, "\n", "\r")))
	}
	tables := []*contract.Table{contract.Labs, contract.Measures, contract.Issues, contract.Bedside, contract.Events, contract.Patients}
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, table := range tables {
			e, err := Open(bufio.NewReaderSize(bytes.NewReader(text), 16), "x.hl7", Options{Table: table, Fields: map[string]Address{"status": {"MSH", 1, 1, 1}}})
			if err != nil {
				t.Fatal(err)
			}
			var last int64
			for s, err := range e.Stretches() {
				if err != nil {
					t.Fatal(err)
				}
				err := s.Rows(func(r row.Row) bool {
					last = max(last, r.Place)
					switch {
					case r.Place < 1 || r.Place > int64(len(text)):
						t.Errorf("%s: a row at %d", table.Name, r.Place)
					case r.Fault == "" && r.Other == "" && len(r.Cells) != len(e.Names()):
						t.Errorf("%s: %d cells, %d names", table.Name, len(r.Cells), len(e.Names()))
					case !utf8.ValidString(r.Other):
						t.Errorf("%s: %q is not UTF-8", table.Name, r.Other)
					}
					for i, c := range r.Cells {
						if !utf8.Valid(c) {
							t.Errorf("%s: %s %q is not UTF-8", table.Name, e.Names()[i], c)
						}
					}
					return true
				})
				if err != nil {
					t.Fatal(err)
				}
			}
			if last > e.segment {
				t.Errorf("%s: a row at %d of %d segments", table.Name, last, e.segment)
			}
		}
	})
}
