package hl7

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/contract"
	"thawline/internal/read/row"
	"thawline/internal/read/source"
)

// All patients, numbers and codes in these messages are invented. No sample of
// BPS or BTS has been published: they are made by hand from the definitions of
// their segments, on which the npm packages hl7-dictionary 1.0.1 (version 2.5.1)
// and hl7v2-dictionary 1.8.0 (version 2.8) agree.

const header = `MSH|^~\&|LIS|TARN|AUDIT|TARN|20250310120000||ORU^R01^ORU_R01|1|P|2.5.1`

// rowsOf reads messages, whose lines are parted by line feeds, and returns what
// they give: the cells that are not empty, "fault: …" or "other: …", after the
// place.
func rowsOf(t testing.TB, table *contract.Table, text string, o Options) []string {
	t.Helper()
	rows, err := read(table, strings.ReplaceAll(text, "\n", "\r"), o)
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func read(table *contract.Table, text string, o Options) ([]string, error) {
	return readFrom(table, strings.NewReader(text), o)
}

func readFrom(table *contract.Table, r io.Reader, o Options) ([]string, error) {
	o.Table = table
	e, err := Open(bufio.NewReader(r), "x.hl7", o)
	if err != nil {
		return nil, err
	}
	var rows []string
	for s, err := range e.Stretches() {
		if err != nil {
			return rows, err
		}
		err := s.Rows(func(r row.Row) bool {
			rows = append(rows, shown(e.Names(), r))
			return true
		})
		if err != nil {
			return rows, err
		}
		s.Release()
	}
	return rows, nil
}

func shown(names []string, r row.Row) string {
	switch {
	case r.Fault != "":
		text := fmt.Sprintf("%d fault: %s", r.Place, r.Fault)
		for i, c := range r.Cells {
			// What decides whether the row is set aside.
			if contains([]string{"test", "kind", "product_code"}, names[i]) && len(c) > 0 && r.Fault == severalIDs {
				text += fmt.Sprintf(" (of %s)", c)
			}
		}
		return text
	case r.Other != "":
		return fmt.Sprintf("%d other: %s", r.Place, r.Other)
	}
	text := fmt.Sprint(r.Place)
	for i, c := range r.Cells {
		if len(c) > 0 {
			text += fmt.Sprintf(" %s=%s", names[i], c)
		}
	}
	return text
}

func same(t testing.TB, got []string, want ...string) {
	t.Helper()
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("rows (-want +got):\n%s", diff)
	}
}

// The result set of the standard's own example of a referral (version 2.5.1,
// section 11.9.6): local codes, values as ST, hyphens that do not break. Its
// patient is left out.
func TestTheStandardsOwnResults(t *testing.T) {
	text := header + "\n" +
		"PID|||P1\n" +
		"OBR|1|||1^PROTHROMBIN TIME|||19941013\n" +
		"OBX|1|ST|PROTIME^PROTHROMBIN TIME||30.7|SEC|11.1\u201114.0|HH|||F\n" +
		"OBX|2|ST|INR^INR||5.95||||||F\n"
	same(t, rowsOf(t, contract.Labs, text, Options{}),
		"4 patient_id=P1 test=PROTIME code_names=PROTHROMBIN TIME value_raw=30.7 unit_raw=SEC collected_at=1994-10-13 status=F",
		"5 patient_id=P1 test=INR code_names=INR value_raw=5.95 collected_at=1994-10-13 status=F")
}

// Each field of a result in its own place, by the definitions of OBX, OBR and
// SPM (both dictionaries).
func TestWhereAResultIsRead(t *testing.T) {
	obx := func(fields map[int]string) string {
		text := "OBX"
		for i := 1; i <= 25; i++ {
			text += "|" + fields[i]
		}
		return text + "\n"
	}
	text := header + "\nPID|1||P1^^^TARN^MR||NAME\nORC|RE\nOBR|1|PL|FI|4^COAG|||202503100900|||||||202503100915||||||||20250310100203\n" +
		obx(map[int]string{2: "NM", 3: "6301-6^INR in Platelet poor plasma by Coagulation assay^LN^4711^INR^L", 5: "2.1", 6: "{INR}^INR^UCUM", 11: "F", 14: "20250310085900+0000", 19: "20250310094501.25", 21: "R1"}) +
		obx(map[int]string{2: "NM", 3: "4712^Fibrinogen^L^3255-7^Fibrinogen [Mass/volume] in Platelet poor plasma by Coagulation assay^LN", 5: "180", 6: "mg/dL", 8: "L~<", 11: "C"}) +
		"SPM|1|||PPP|||||||||||||202503100858^202503100859\n"
	same(t, rowsOf(t, contract.Labs, text, Options{}),
		"5 result_id=R1 patient_id=P1 test=4711 loinc=6301-6 code_names=INR in Platelet poor plasma by Coagulation assay; INR value_raw=2.1 unit_raw={INR} collected_at=2025-03-10T08:59:00+0000 resulted_at=2025-03-10T09:45:01.25 status=F",
		"6 patient_id=P1 test=4712 loinc=3255-7 code_names=Fibrinogen; Fibrinogen [Mass/volume] in Platelet poor plasma by Coagulation assay value_raw=180 bound=< unit_raw=mg/dL collected_at=2025-03-10T08:58 resulted_at=2025-03-10T10:02:03 status=C")
	// Two samples of one order: which of them is not said, and OBR-7 stands.
	two := strings.TrimSuffix(text, "\n") + "\nSPM|2|||PPP|||||||||||||202503100830\n"
	if rows := rowsOf(t, contract.Labs, two, Options{}); !strings.Contains(rows[1], "collected_at=2025-03-10T09:00 ") {
		t.Errorf("two samples: %s", rows[1])
	}
}

// Chapter 2A, SN: comparator, number, separator, number. Table 0125 names the
// types of OBX-2.
func TestTypesOfValues(t *testing.T) {
	for _, c := range []struct{ kind, value, want string }{
		{"SN", "<^0.5", "<0.5"}, {"SN", ">^9.0", ">9.0"}, {"SN", "^5.9", "5.9"}, {"SN", "^1^:^128", "1:128"}, {"SN", "<>^3", "<>3"}, {"SN", ">=^10", ">=10"},
		{"ST", ">9.0", ">9.0"}, {"NM", " 2.10 ", "2.10"}, {"ST", `clotted \T\ old`, "clotted & old"}, {"", "1.2", "1.2"}, {"TX", "a^b", "a^b"},
		{"CE", "CL^Clotted^L", "Clotted"}, {"CWE", "CL", "CL"}, {"CWE", "^^^^^^^^no clot", "no clot"}, {"ED", "^TEXT^^A^AAAA", ""}, {"NM", "1~2", "1~2"}, {"NM", `""`, ""},
		{"TX", "not~seen", "not~seen"},
	} {
		m := &message{}
		m.separate([]byte(header))
		got := m.value(m.split([]byte("OBX|1|"+c.kind+"|A||"+c.value), 1))
		if string(got) != c.want {
			t.Errorf("%s %q: %q, want %q", c.kind, c.value, got, c.want)
		}
	}
}

// Table 0085: F and P stay as they are for the map of codes; X has no number
// whatever is written, I waits, N and O are no results.
func TestStatusOfResults(t *testing.T) {
	text := header + "\nPID|||P1\nOBR||||C|||20250310\n"
	for i, c := range []struct{ value, status string }{{"9.9", "X"}, {"clotted", "X"}, {"", "I"}, {"1.1", "P"}, {"1.1", "D"}, {"", "N"}, {"", "O"}} {
		text += fmt.Sprintf("OBX|%d|ST|INR||%s||||||%s\n", i+1, c.value, c.status)
	}
	const at = " collected_at=2025-03-10 status="
	same(t, rowsOf(t, contract.Labs, text, Options{}),
		"4 patient_id=P1 test=INR no_value=other"+at+"X", "5 patient_id=P1 test=INR value_raw=clotted"+at+"X", "6 patient_id=P1 test=INR no_value=pending"+at+"I",
		"7 patient_id=P1 test=INR value_raw=1.1"+at+"P", "8 patient_id=P1 test=INR value_raw=1.1"+at+"D", "9 other: observation_status=N", "10 other: observation_status=O")
}

// Chapter 7: events R30 to R32 are results from the point of care.
func TestPointOfCare(t *testing.T) {
	for kind, want := range map[string]string{"ORU^R01": "", "ORU^R30^ORU_R30": "true", "ORU^R31": "true", "ORU^R32": "true", "ORU": ""} {
		text := strings.Replace(header, "ORU^R01^ORU_R01", kind, 1) + "\nPID|||P1\nOBR||||C|||20250310\nOBX|1|NM|INR||1.1||||||F\n"
		if got := rowsOf(t, contract.Labs, text, Options{}); strings.Contains(got[0], "point_of_care=true") != (want == "true") {
			t.Errorf("%s: %s", kind, got)
		}
	}
	// Where the site says by which field it knows.
	text := header + "\nPID|||P1\nOBR||||C|||20250310\nOBX|1|NM|INR||1.1||||||F\nZBX|1|POC\n"
	got := rowsOf(t, contract.Labs, text, Options{Fields: map[string]Address{"point_of_care": {"ZBX", 2, 1, 1}}})
	if !strings.Contains(got[0], "point_of_care=POC") {
		t.Errorf("by ZBX-2: %s", got)
	}
}

// DTM (chapter 2A) is as precise as it is written; a day alone is a day alone,
// an hour or a month alone is no time that can be read.
func TestTimes(t *testing.T) {
	m := &message{}
	m.separate([]byte(header))
	for text, want := range map[string]string{
		"20250310": "2025-03-10", "202503100915": "2025-03-10T09:15", "20250310091530": "2025-03-10T09:15:30", "20250310091530.1234": "2025-03-10T09:15:30.1234",
		"20250310091530.12-0530": "2025-03-10T09:15:30.12-0530", "202503100915+0100": "2025-03-10T09:15+0100", "20250310+0100": "2025-03-10",
		"2025031009": "2025031009", "202503": "202503", "2025": "2025", "": "", "20250310000000": "2025-03-10T00:00:00", "202503100915^M": "2025-03-10T09:15",
		"202503100000^D": "2025-03-10", "2025-03-10 09:15": "2025-03-10 09:15", "20250310091530.": "2025-03-10T09:15:30", "202503100915+01": "202503100915+01", "yesterday": "yesterday",
	} {
		if got := string(m.stamp([]byte(text))); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

// MSH-7: its offset holds for times without one. A sender on the site's own
// clock does not say with it that a sample in winter was taken at summer time.
func TestOffsetOfTheMessage(t *testing.T) {
	dublin, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		sent string
		zone *time.Location
		want string
	}{
		{"20250710120000+0100", nil, "2025-01-10T09:15+0100"}, {"20250710120000+0100", dublin, "2025-01-10T09:15"}, {"202507101200+0100", dublin, "2025-01-10T09:15"},
		{"20250710120000+0200", dublin, "2025-01-10T09:15+0200"}, {"20250110120000+0100", dublin, "2025-01-10T09:15+0100"}, {"20250710120000", dublin, "2025-01-10T09:15"},
	} {
		text := strings.Replace(header, "20250310120000", c.sent, 1) + "\nPID|||P1\nOBR||||C|||202501100915\nOBX|1|NM|INR||1.1||||||F|||202501100915-0500\nOBX|2|NM|INR||1.1||||||F\n"
		rows := rowsOf(t, contract.Labs, text, Options{Zone: c.zone})
		if !strings.Contains(rows[0], "collected_at=2025-01-10T09:15-0500 ") || !strings.Contains(rows[1], "collected_at="+c.want+" ") {
			t.Errorf("sent %s: %q, want %s", c.sent, rows, c.want)
		}
	}
}

// Chapter 2, "Use of escape sequences in text fields".
func TestEscapes(t *testing.T) {
	m := &message{}
	m.separate([]byte(`MSH|^~\&#|`))
	for raw, want := range map[string]string{
		`a\F\b`: "a|b", `a\S\b`: "a^b", `a\T\b`: "a&b", `a\R\b`: "a~b", `a\E\b`: `a\b`, `a\P\b`: "a#b", `\X41\\X0D\b`: "A\rb", `\XC3BC\`: "ü", `\H\high\N\`: "high",
		`one\.br\two`: "one two", `one\.sp2\two`: "one two", `\.in+2\x`: "x", `10\S\9/L`: "10^9/L", `50\`: `50\`, `a\b\F\`: `a\b|`, `\Xzz\`: `\Xzz\`, `\XFF\`: `\XFF\`, `\Z9\`: `\Z9\`, `\\`: `\\`,
	} {
		if got := string(m.unescape([]byte(raw))); got != want {
			t.Errorf("%s: %q, want %q", raw, got, want)
		}
	}
}

func TestSeparatorsOfTheMessage(t *testing.T) {
	text := `MSH$!*?%$LIS$$$$20250310120000$$ORU!R01$1$P$2.5` + "\nPID$1$$P1!!!TARN%1.2.3!MR*P2!!!OTHER!PI\nOBR$$$$C$$$20250310\n" + `OBX$1$SN$INR!INR ?F? ratio!L$$<!0.5$?T?$$$$$F` + "\n"
	same(t, rowsOf(t, contract.Labs, text, Options{}), "4 patient_id=P1 test=INR code_names=INR $ ratio value_raw=<0.5 unit_raw=% collected_at=2025-03-10 status=F")
	// Encoding characters that are not stated part nothing.
	text = "MSH|^|LIS||||20250310||ORU^R01|1|P|2.5\nPID|||P~1\nOBR||||C|||20250310\nOBX|1|ST|INR||a\\F\\&b~c||||||F\n"
	same(t, rowsOf(t, contract.Labs, text, Options{}), `4 patient_id=P~1 test=INR value_raw=a\F\&b~c collected_at=2025-03-10 status=F`)
}

// Carriage returns as the standard has them, lines of any system, and what a
// wire leaves (VT, FS) give the same rows; blank segments are not counted.
func TestEndsOfSegments(t *testing.T) {
	text := header + "\rPID|||P1\rOBR||||C|||20250310\rOBX|1|NM|INR||1.1||||||F\r"
	want, err := read(contract.Labs, text, Options{})
	if err != nil || len(want) != 1 {
		t.Fatal(want, err)
	}
	for name, other := range map[string]string{
		"LF": strings.ReplaceAll(text, "\r", "\n"), "CRLF": strings.ReplaceAll(text, "\r", "\r\n"), "no last": strings.TrimSuffix(text, "\r"),
		"wire": "\x0b" + text + "\x1c\r", "blank": strings.ReplaceAll(text, "\r", "\r\r"), "blank lines": "\n" + strings.ReplaceAll(text, "\r", "\n\n"), "one space": strings.ReplaceAll(text, "\r", " \r"),
	} {
		got, err := read(contract.Labs, other, Options{})
		if err != nil || cmp.Diff(want, got) != "" {
			t.Errorf("%s: %q %v, want %q", name, got, err, want)
		}
		if !Begins([]byte(other)) {
			t.Errorf("%s is not known as messages", name)
		}
	}
	// Files that were put together, and files that were edited.
	twice := append(slices.Clone(want), strings.Replace(want[0], "4 ", "8 ", 1))
	lines := strings.ReplaceAll(text, "\r", "\n")
	for name, other := range map[string]string{
		"LF, then CR": lines + text, "CR, then LF": text + lines, "LF, then wire": lines + "\x0b" + text + "\x1c\r", "CRLF, then LF": strings.ReplaceAll(text, "\r", "\r\n") + lines,
		"one CR among LF": strings.Replace(lines, "\nOBR", "\rOBR", 1) + lines, "one LF among CR": strings.Replace(text, "\rOBX", "\nOBX", 1) + text,
		"other separators after": lines + strings.NewReplacer("|", "$", "^", "!", `~\&`, `*?%`).Replace(text), "many": lines + strings.Repeat("\r", 100) + text,
	} {
		for _, size := range []int{16, 64, 4096} {
			got, err := readFrom(contract.Labs, bufio.NewReaderSize(strings.NewReader(other), size), Options{})
			if err != nil || cmp.Diff(twice, got) != "" {
				t.Errorf("%s: %q %v, want %q", name, got, err, twice)
			}
		}
	}
	// A line break inside a field of a file with carriage returns is text, and
	// the other way round.
	if got, err := read(contract.Labs, strings.Replace(lines, "1.1", "INR:\r2.1", 1), Options{}); err != nil || len(got) != 1 || !strings.Contains(got[0], "value_raw=INR:\r2.1 ") {
		t.Errorf("%q %v", got, err)
	}
	got, err := read(contract.Labs, strings.Replace(text, "1.1", "see\nnote", 1), Options{})
	if err != nil || len(got) != 1 || !strings.Contains(got[0], "value_raw=see\nnote ") {
		t.Errorf("%q %v", got, err)
	}
}

func TestWhatIsMessages(t *testing.T) {
	for text, want := range map[string]bool{"MSH|^~\\&|": true, "FHS|^": true, "BHS|x": true, "MSH": false, "MSH,unit": false, "MSHA|": false, "PID|1": false, "": false, "{": false, "\x0bMSH|^": true} {
		if text == "MSH,unit" {
			want = true // A comma is a separator that MSH-1 may state.
		}
		if got := Begins([]byte(text)); got != want {
			t.Errorf("%q: %v", text, got)
		}
	}
}

// A row at fault says what it is of, since one of another test or product is set
// aside whatever is wrong with it.
func TestFaultsSayWhatTheyAreOf(t *testing.T) {
	text := header + "\nPID|||P1^^^A^MR~P2^^^B^MR\nOBR||||C|||20250310\nOBX|1|NM|GLUC||5||||||F\n"
	same(t, rowsOf(t, contract.Labs, text, Options{}), "4 fault: "+severalIDs+" (of GLUC)")
	same(t, rowsOf(t, contract.Measures, text, Options{}), "4 fault: "+severalIDs+" (of GLUC)")
	for _, table := range []*contract.Table{contract.Issues, contract.Bedside} {
		text := strings.ReplaceAll(btx("TX", "F", "202503101100", "202503101000", "", nil), "P1", "P2^^^A^MR~P1")
		same(t, rowsOf(t, table, text, Options{}), "5 fault: "+severalIDs+" (of FFP)")
	}
}

// Chapter 2, batch protocol: BTS-1 counts messages, FTS-1 batches. Rows are not
// lost where a count is wrong.
func TestEnvelopes(t *testing.T) {
	one := header + "\nPID|||P1\nOBR||||C|||20250310\nOBX|1|NM|INR||1.1||||||F\n"
	result := func(no int) string {
		return fmt.Sprintf("%d patient_id=P1 test=INR value_raw=1.1 collected_at=2025-03-10 status=F", no)
	}
	const fhs, bhs = "FHS|^~\\&|LIS\n", "BHS|^~\\&|LIS\n"
	same(t, rowsOf(t, contract.Labs, fhs+bhs+one+one+"BTS|2\nFTS|1\n", Options{}), result(6), result(10))
	same(t, rowsOf(t, contract.Labs, bhs+one+"BTS\n"+bhs+one+"BTS|1|\n", Options{}), result(5), result(11))
	same(t, rowsOf(t, contract.Labs, bhs+one+"BTS|2\n", Options{}), result(5), "6 fault: BTS-1 states 2 messages, the batch holds 1: the file may be cut; export it again")
	same(t, rowsOf(t, contract.Labs, fhs+bhs+one+"BTS|1\nFTS|2\n", Options{}), result(6), "8 fault: FTS-1 states 2 batches, the file holds 1: the file may be cut; export it again")
	same(t, rowsOf(t, contract.Labs, bhs+one+"BTS|many\n", Options{}), result(5), "6 fault: BTS-1: found no number, wanted how many messages the batch holds")
	same(t, rowsOf(t, contract.Labs, fhs+bhs+one, Options{}), result(6),
		"2 fault: found the start of a batch (BHS) and no end (BTS): the file may be cut; export it again", "1 fault: found the start of a file (FHS) and no end (FTS): the file may be cut; export it again")
	same(t, rowsOf(t, contract.Labs, bhs+one+bhs+one+"BTS|1\n", Options{}), result(5), "6 fault: found BHS before the end (BTS) of the batch before it: the batch may be cut; export it again", result(10))
	same(t, rowsOf(t, contract.Labs, fhs+one+one+"FTS|1\n", Options{}), result(5), result(9))
	same(t, rowsOf(t, contract.Labs, one+"BTS|1\nPID|||P2\nFTS|1\n", Options{}), result(4), "5 fault: found the end of a batch (BTS) without its start (BHS): the file may be cut; export it again",
		"6 fault: found a segment outside a message, wanted MSH before it: its message's header is lost", "7 fault: found the end of a file (FTS) without its start (FHS): the file may be cut; export it again")
}

// A segment at fault is told with its place; the rest of its message is read.
func TestSegmentsAtFault(t *testing.T) {
	text := header + "\nPID|||P1\nOBR||||C|||20250310\nOBX|1|ST|INR||1.1\nsee comment\nOBX^2^ST^INR^^1.2\nOBX|3|ST|INR||1.3\nMSH\nPID|||P2\n" + header + "\nOBX|1|ST|INR||1.4\n"
	same(t, rowsOf(t, contract.Labs, text, Options{}),
		"4 patient_id=P1 test=INR value_raw=1.1 collected_at=2025-03-10",
		`5 fault: found no segment: wanted three letters or digits and a field separator; a line break inside a field is written \.br\`,
		"6 fault: found another field separator than the message's own (MSH-1): the segment is not read",
		"7 patient_id=P1 test=INR value_raw=1.3 collected_at=2025-03-10",
		"8 fault: found a message header (MSH) without separators, wanted them in MSH-1 and MSH-2: the message is not read",
		"9 fault: found a segment outside a message, wanted MSH before it: its message's header is lost",
		"11 test=INR value_raw=1.4")
}

// A patient of one message, or of one group, is never that of the next.
func TestPatientsDoNotRunOn(t *testing.T) {
	text := header + "\nPID|||P1\nOBR||||C|||20250310\nOBX|1|ST|INR||1.1\nPID|||P2\nOBR||||C|||20250311\nOBX|1|ST|INR||1.2\n" + header + "\nOBR||||C|||20250312\nOBX|1|ST|INR||1.3\nOBR||||C\nOBX|1|ST|INR||1.4\n"
	same(t, rowsOf(t, contract.Labs, text, Options{}),
		"4 patient_id=P1 test=INR value_raw=1.1 collected_at=2025-03-10", "7 patient_id=P2 test=INR value_raw=1.2 collected_at=2025-03-11",
		"10 test=INR value_raw=1.3 collected_at=2025-03-12", "12 test=INR value_raw=1.4")
}

// CX: number, check digit, scheme, assigning authority, type (table 0203).
func TestIdentifiers(t *testing.T) {
	const several = "3 fault: " + severalIDs
	for _, c := range []struct{ pid, kind, authority, want string }{
		{"P1", "", "", "3 patient_id=P1"}, {"P1^^^TARN^MR~N1^^^NAT^NI", "", "", "3 patient_id=P1"}, {"N1^^^NAT^NI~P1^^^TARN^MR", "", "", "3 patient_id=P1"},
		{"N1^^^NAT^NI~P1^^^TARN^PI", "", "", several}, {"P1^^^TARN^MR~P2^^^OTHER^MR", "", "", several}, {"P1^^^TARN^MR~P1^^^OTHER^PI", "", "", "3 patient_id=P1"},
		{"N1^^^NAT^NI~P1^^^TARN^PI", "PI", "", "3 patient_id=P1"}, {"P1^^^TARN&1.2.3&ISO^MR~P2^^^OTHER^MR", "", "1.2.3", "3 patient_id=P1"}, {"P1^^^TARN^MR~P2^^^OTHER^MR", "mr", "other", "3 patient_id=P2"},
		{"P1^^^TARN^MR", "NI", "", "3 test=INR"}, {"", "", "", "3 test=INR"}, {`""`, "", "", "3 test=INR"}, {"~P1^^^TARN^MR", "", "", "3 patient_id=P1"},
	} {
		got := rowsOf(t, contract.Labs, header+"\nPID|||"+c.pid+"\nOBX|1|ST|INR||1.1\n", Options{IDType: c.kind, IDAuthority: c.authority})
		if len(got) != 1 || !strings.HasPrefix(got[0], c.want) {
			t.Errorf("%s, type %q, authority %q: %q, want %q", c.pid, c.kind, c.authority, got, c.want)
		}
	}
	// Where the site says which field it is, that is read and no other.
	got := rowsOf(t, contract.Labs, header+"\nPID|||A^^^^PI~B^^^^PI|||||||||||||||P9\nOBX|1|ST|INR||1.1\n", Options{Fields: map[string]Address{"patient_id": {"PID", 18, 1, 1}}})
	same(t, got, "3 patient_id=P9 test=INR value_raw=1.1")
}

func TestAddresses(t *testing.T) {
	for text, want := range map[string]Address{"OBR-7": {"OBR", 7, 1, 1}, "pid-3.4.2": {"PID", 3, 4, 2}, " SPM-17.1 ": {"SPM", 17, 1, 1}, "ZB1-2": {"ZB1", 2, 1, 1}} {
		if got, err := ParseAddress(text); err != nil || got != want {
			t.Errorf("%s: %+v %v", text, got, err)
		}
	}
	for _, text := range []string{"", "OBR", "OBR7", "OBR-0", "OBR-7.", "OBR-x", "1BR-7", "OBRX-7", "OBR-1.2.3.4", "OBR-7.-1", "OBR-1000"} {
		if got, err := ParseAddress(text); err == nil {
			t.Errorf("%s: %+v, want an error", text, got)
		}
	}
}

// MSH-18, table 0211. What is of another set is told, not guessed.
func TestCharacterSets(t *testing.T) {
	message := func(charset, name string) string {
		return header + "||||||" + charset + "\nPID|||P1\nOBX|1|ST|INR^" + name + "||1.1\n"
	}
	for charset, name := range map[string]string{"": "Z\u00fcrich", "UNICODE UTF-8": "Z\u00fcrich", "UNICODE": "Z\u00fcrich", "ASCII": "Zurich", "8859/1": "Z\xfcrich", "8859/15": "\xa4", "8859/5": "\xb0", "8859/1~ISO IR87": "Z\xfcrich"} {
		want := map[string]string{"8859/1": "Z\u00fcrich", "8859/15": "\u20ac", "8859/5": "\u0410", "8859/1~ISO IR87": "Z\u00fcrich"}[charset]
		if want == "" {
			want = name
		}
		same(t, rowsOf(t, contract.Labs, message(charset, name), Options{}), "3 patient_id=P1 test=INR code_names="+want+" value_raw=1.1")
	}
	same(t, rowsOf(t, contract.Labs, message("", "Z\xfcrich"), Options{}), "3 fault: "+notUTF8)
	if rows := rowsOf(t, contract.Labs, message("GB 18030-2000", "x"), Options{}); len(rows) != 1 || !strings.HasPrefix(rows[0], "3 fault: MSH-18 states a character set that is not read") {
		t.Errorf("%q", rows)
	}
	// What the site states has decoded the text already.
	same(t, rowsOf(t, contract.Labs, message("8859/1", "Z\u00fcrich"), Options{Decoded: true}), "3 patient_id=P1 test=INR code_names=Z\u00fcrich value_raw=1.1")
}

// A power of ten written without escapes comes as two components (common practice).
func TestUnits(t *testing.T) {
	for unit, want := range map[string]string{"10^9/L": "10^9/L", `10\S\9/L`: "10^9/L", "x10^9/L": "x10^9/L", "g/L^gram per litre^UCUM": "g/L", "^sec": "sec", "10*9/L^10^9/L^UCUM": "10*9/L", "mg/dL": "mg/dL"} {
		m := &message{}
		m.separate([]byte(header))
		if got := string(m.unit([]byte(unit))); got != want {
			t.Errorf("%s: %q, want %q", unit, got, want)
		}
	}
}

func TestOtherMessagesAndTables(t *testing.T) {
	text := strings.Replace(header, "ORU^R01^ORU_R01", "ADT^A08", 1) + "\nPID|||P1||||1950|F\n" + header + "\nPID|||P2||NAME||194905031000|M\nOBR||||C|||20250310\nOBX|1|NM|29463-7^Body weight^LN||70|kg|||||F\nOBX|2|NM|INR||1||||||X\n"
	same(t, rowsOf(t, contract.Labs, text, Options{})[:1], "1 other: message=ADT^A08")
	same(t, rowsOf(t, contract.Measures, text, Options{}), "1 other: message=ADT^A08",
		"6 patient_id=P2 kind=29463-7 loinc=29463-7 code_names=Body weight value_raw=70 unit_raw=kg measured_at=2025-03-10 status=F", "7 other: observation_status=X")
	same(t, rowsOf(t, contract.Patients, text, Options{}), "2 patient_id=P1 birth_date=1950 sex=F", "4 patient_id=P2 birth_date=1949-05-03T10:00 sex=M")
	same(t, rowsOf(t, contract.Patients, header+"\nOBR|1\n", Options{}), "1 other: message=ORU^R01")
	for _, table := range []*contract.Table{contract.Medicines, contract.Aliases, contract.Activity} {
		var fault *source.Error
		if _, err := read(table, text, Options{}); !errors.As(err, &fault) || !strings.Contains(err.Error(), table.Name) {
			t.Errorf("%s: %v", table.Name, err)
		}
	}
}

// Cut into stretches anywhere, a file gives the same rows with the same places.
func TestStretches(t *testing.T) {
	var text strings.Builder
	text.WriteString("BHS|^~\\&|LIS\r")
	for i := range 200 {
		fmt.Fprintf(&text, "%s\rPID|||P%d\rOBR||||C|||20250310\rOBX|1|NM|INR||1.%d||||||F\rNTE|1||%s\r", header, i, i, strings.Repeat("x", i*3))
	}
	text.WriteString("BTS|200\r")
	want, err := read(contract.Labs, text.String(), Options{})
	if err != nil || len(want) != 200 {
		t.Fatal(len(want), err)
	}
	defer func(n int) { stretchSize = n }(stretchSize)
	for _, stretchSize = range []int{1, 500, 10_000} {
		got, err := readFrom(contract.Labs, iotest.HalfReader(strings.NewReader(text.String())), Options{})
		if err != nil || cmp.Diff(want, got) != "" {
			t.Errorf("stretches of %d: %d rows, %v", stretchSize, len(got), err)
		}
	}
	// A segment longer than any buffer, and one that cannot be.
	long := header + "\rPID|||P1\rOBX|1|ED|PDF||" + strings.Repeat("QUJD", 200_000) + "\rOBX|2|ST|INR||1.1\r"
	if got, err := read(contract.Labs, long, Options{}); err != nil || len(got) != 2 {
		t.Errorf("%d rows, %v", len(got), err)
	}
	defer func(n int) { segmentLimit = n }(segmentLimit)
	segmentLimit = 100_000
	var fault *source.Error
	if _, err := read(contract.Labs, long, Options{}); !errors.As(err, &fault) || fault.Place != 3 {
		t.Errorf("%v, want a fault of segment 3", err)
	}
}

func TestErrorsOfTheDisk(t *testing.T) {
	broken := errors.New("disk")
	_, err := readFrom(contract.Labs, io.MultiReader(strings.NewReader(header+"\rPID|||P1\r"), iotest.ErrReader(broken)), Options{})
	if !errors.Is(err, broken) {
		t.Errorf("%v", err)
	}
}
