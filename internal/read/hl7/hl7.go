// Package hl7 reads files of HL7 version 2 messages: results (ORU), what the
// blood bank dispensed (BPS) and what became of it (BTS), with or without the
// envelopes of batches and files. It follows chapter 2 of the standard for
// segments, separators, escapes and times, chapter 7 for results and chapter 4
// for blood products; positions of fields are those of versions 2.5.1 to 2.8.
package hl7

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"iter"
	"strconv"
	"time"

	"thawline/internal/contract"
	"thawline/internal/read/row"
	"thawline/internal/read/source"
)

// stretchSize is how many bytes of messages a stretch aims at, segmentLimit how
// many one segment may have: a result may hold a document, not a film. They are
// variables for tests alone.
var (
	stretchSize  = 4 << 20
	segmentLimit = 64 << 20
)

// Options says what is wanted of a file, and what the site states of it.
type Options struct {
	// Table is the table for which rows are wanted.
	Table *contract.Table
	// IDType and IDAuthority choose among the identifiers of PID-3: by type
	// (component 5, table 0203, as MR) and assigning authority (component 4,
	// its name or universal id). Empty is any.
	IDType, IDAuthority string
	// Fields says, by column of the contract, which field of the message holds
	// it where that is not the usual one.
	Fields map[string]Address
	// Zone is the site's clock, or nil; see clock.
	Zone *time.Location
	// Decoded says that the text was decoded as the site states, so that MSH-18
	// says nothing about it.
	Decoded bool
}

// Export is a file of messages.
type Export struct {
	name     string
	text     *bufio.Reader
	o        Options
	sheet    *sheet
	segment  int64
	envelope envelope
	// terminator ends a segment: the sign that ends the file's first one. field
	// is the separator of the last header.
	terminator, field byte
	// blood holds what the file has told of each bag so far.
	blood *history
	// buffer joins segments that the reader's own buffer does not hold whole;
	// spent are bytes of the reader's that were handed out.
	buffer []byte
	spent  int
}

// Begins reports whether text is the start of a file of messages.
func Begins(text []byte) bool {
	text = bytes.TrimLeft(text, blanks)
	if len(text) < 4 {
		return false
	}
	switch string(text[:3]) {
	case "MSH", "BHS", "FHS":
		return isSeparator(text[3])
	}
	return false
}

// isSeparator reports whether c may part fields: no letter, digit or space.
func isSeparator(c byte) bool {
	letter := c|0x20 >= 'a' && c|0x20 <= 'z'
	return c > ' ' && c < 0x7f && !letter && (c < '0' || c > '9')
}

// Open prepares to read the messages in text; name is their place in errors.
func Open(text *bufio.Reader, name string, o Options) (*Export, error) {
	sheet, err := newSheet(o)
	if err != nil {
		return nil, &source.Error{Name: name, Says: err.Error()}
	}
	return &Export{name: name, text: text, o: o, sheet: sheet, blood: &history{bags: map[string][]*bag{}}}, nil
}

// Names are columns of the contract, and for tests and kinds of measure
// loinc, the LOINC code where the message has one, and code_names, the names
// that stand beside the codes.
func (e *Export) Names() []string { return e.sheet.Names }

// Codes gives the published codes of the columns, in lower case, and the
// contract's words for them.
func (e *Export) Codes() map[string]map[string]string { return codesOf(e.o.Table) }

// Stretch is a run of whole messages.
type Stretch struct {
	export   *Export
	text     []byte
	segments []place
	// rows are those of tables for which the order of messages matters, which
	// were made as the file was read.
	rows []row.Row
}

// place is a segment of a stretch, or a fault of what stood there.
type place struct {
	from, to int
	no       int64
	fault    string
}

// Release gives the memory back.
func (s *Stretch) Release() { *s = Stretch{} }

// Rows calls yield for each row of the table, once, until yield returns false.
func (s *Stretch) Rows(yield func(row.Row) bool) error {
	if s.rows != nil {
		for _, r := range s.rows {
			if !yield(r) {
				break
			}
		}
		return nil
	}
	s.each(nil, yield)
	return nil
}

// each takes the stretch apart message by message.
func (s *Stretch) each(blood *history, yield func(row.Row) bool) {
	for at := 0; at < len(s.segments); {
		if fault := s.segments[at].fault; fault != "" {
			if !yield(row.Row{Place: s.segments[at].no, Fault: fault}) {
				return
			}
			at++
			continue
		}
		end := at + 1
		for end < len(s.segments) && !s.isHeader(end) {
			end++
		}
		if !s.message(at, end, blood, yield) {
			return
		}
		at = end
	}
}

func (s *Stretch) isHeader(i int) bool {
	p := s.segments[i]
	return p.fault == "" && bytes.HasPrefix(s.text[p.from:p.to], []byte("MSH"))
}

// Stretches yields the messages in the order of the file.
func (e *Export) Stretches() iter.Seq2[*Stretch, error] {
	return func(yield func(*Stretch, error) bool) {
		s := &Stretch{export: e}
		for {
			segment, err := e.next()
			if err != nil && err != io.EOF {
				yield(nil, err)
				return
			}
			full := err == io.EOF || len(s.text) >= stretchSize && bytes.HasPrefix(segment, []byte("MSH"))
			if full && len(s.segments) > 0 {
				if !yield(e.finish(s), nil) {
					return
				}
				s = &Stretch{export: e}
			}
			if err == io.EOF {
				break
			}
			e.put(s, segment)
		}
		s.segments = e.envelope.end()
		if s = e.finish(s); len(s.segments) > 0 || len(e.blood.pooled) > 0 {
			s.rows = append(s.rows, e.blood.rest()...)
			yield(s, nil)
		}
	}
}

// finish makes the rows of tables for which the order of messages matters.
func (e *Export) finish(s *Stretch) *Stretch {
	if e.o.Table == contract.Issues || e.o.Table == contract.Bedside {
		s.rows = []row.Row{}
		s.each(e.blood, func(r row.Row) bool {
			s.rows = append(s.rows, r)
			return true
		})
	}
	return s
}

// put adds a segment to a stretch, unless it is one of the envelope.
func (e *Export) put(s *Stretch, segment []byte) {
	p := place{from: len(s.text), no: e.segment}
	switch fault, inside := e.envelope.take(segment, e.segment); {
	case fault != "":
		p.fault = fault
	case !inside:
		return
	}
	s.text = append(s.text, segment...)
	p.to = len(s.text)
	s.segments = append(s.segments, p)
}

// next reads a segment without its terminator; blank ones are passed over and
// not counted. It stays as it is until the next call.
func (e *Export) next() ([]byte, error) {
	for {
		segment, err := e.upToEnd()
		if err != nil && err != io.EOF {
			return nil, err
		}
		if segment = bytes.Trim(segment, blanks); len(segment) > 0 {
			e.segment++
			if Begins(segment) {
				e.field = segment[3]
			}
			return segment, nil
		}
		if err == io.EOF {
			return nil, io.EOF
		}
	}
}

// upToEnd reads up to the end of a segment or of the file. The standard has a
// carriage return there; many files were written as lines, and files that were
// put together or edited have both. So the first end of the file is one wherever
// it stands, and the other sign where a segment or nothing follows: elsewhere it
// is a break in a text (written \.br\ by the standard).
func (e *Export) upToEnd() ([]byte, error) {
	e.buffer = e.buffer[:0]
	if _, err := e.text.Discard(e.spent); err != nil {
		return nil, source.At(err, e.segment+1)
	}
	e.spent = 0
	for {
		_, err := e.text.Peek(1)
		part, _ := e.text.Peek(e.text.Buffered())
		if len(part) == 0 {
			if err != io.EOF {
				err = source.At(err, e.segment+1)
			}
			return e.buffer, err
		}
		end := bytes.IndexAny(part, "\r\n")
		var sign byte
		if end >= 0 {
			sign = part[end]
		}
		if e.terminator == 0 && end >= 0 && len(bytes.TrimLeft(part[:end], blanks)) > 0 {
			e.terminator = sign
		}
		if sign == e.terminator && end >= 0 && len(e.buffer) == 0 {
			// Most segments lie in the reader's own buffer, until the next is asked for.
			e.spent = end + 1
			return part[:end], nil
		}
		taken := len(part)
		if end >= 0 {
			part, taken = part[:end], end+1
		}
		e.buffer = append(e.buffer, part...)
		if _, err := e.text.Discard(taken); err != nil {
			return nil, source.At(err, e.segment+1)
		}
		if len(e.buffer) > segmentLimit {
			return nil, &source.Error{Name: e.name, Place: e.segment + 1, Says: fmt.Sprintf("found a segment of over %d MB, wanted one that ends in a carriage return or a line break: the file is damaged or of another kind", segmentLimit>>20)}
		}
		switch {
		case end < 0:
		case sign == e.terminator || e.segmentFollows():
			return e.buffer, nil
		default:
			e.buffer = append(e.buffer, sign)
		}
	}
}

// blanks stand between segments: ends of lines, and what frames messages that
// were written as they went over the wire (VT and FS, the standard's minimal
// lower layer protocol).
const blanks = "\r\n\x0b\x1c \t"

// segmentFollows reports whether the next bytes of the file begin a segment, or
// hold nothing.
func (e *Export) segmentFollows() bool {
	ahead, _ := e.text.Peek(64)
	ahead = bytes.TrimLeft(ahead, blanks)
	field := e.field
	if header := bytes.TrimLeft(e.buffer, blanks); Begins(header) {
		field = header[3]
	}
	return len(ahead) == 0 || Begins(ahead) || len(ahead) > 3 && wellFormed(ahead) && ahead[3] == field
}

// envelope counts what the trailers of batches and files state.
type envelope struct {
	file, batch       int64 // segment of the open FHS and BHS, or 0
	batches, messages int64
	inMessage         bool
}

// take looks at a segment; inside says that it belongs to a message.
func (v *envelope) take(segment []byte, no int64) (fault string, inside bool) {
	if !wellFormed(segment) {
		return "found no segment: wanted three letters or digits and a field separator; a line break inside a field is written \\.br\\", false
	}
	separator := byte(0)
	if len(segment) > 3 {
		separator = segment[3]
	}
	switch string(segment[:3]) {
	case "FHS":
		fault = v.openBatch("FHS")
		v.file, v.batches, v.inMessage = no, 0, false
	case "BHS":
		fault = v.openBatch("BHS")
		v.batch, v.messages, v.inMessage = no, 0, false
		v.batches++
	case "BTS":
		if v.batch == 0 {
			fault = "found the end of a batch (BTS) without its start (BHS): the file may be cut; export it again"
		} else {
			fault = stated(segment, separator, "BTS-1", "messages", "batch", v.messages, v.messages)
		}
		v.batch, v.inMessage = 0, false
	case "FTS":
		fault = v.openBatch("FTS")
		if fault == "" && v.file == 0 {
			fault = "found the end of a file (FTS) without its start (FHS): the file may be cut; export it again"
		} else if fault == "" {
			// Without batches the whole file may be counted as one.
			fault = stated(segment, separator, "FTS-1", "batches", "file", v.batches, max(v.batches, 1))
		}
		v.file, v.inMessage = 0, false
	case "MSH":
		if len(segment) < 8 || !isSeparator(separator) {
			v.inMessage = false
			return "found a message header (MSH) without separators, wanted them in MSH-1 and MSH-2: the message is not read", false
		}
		v.messages++
		v.inMessage = true
		return "", true
	default:
		if !v.inMessage {
			return "found a segment outside a message, wanted MSH before it: its message's header is lost", false
		}
		return "", true
	}
	return fault, false
}

func (v *envelope) openBatch(before string) string {
	if v.batch == 0 {
		return ""
	}
	v.batch = 0
	return "found " + before + " before the end (BTS) of the batch before it: the batch may be cut; export it again"
}

// end says what is still open at the end of the file.
func (v *envelope) end() []place {
	var faults []place
	if v.batch != 0 {
		faults = append(faults, place{no: v.batch, fault: "found the start of a batch (BHS) and no end (BTS): the file may be cut; export it again"})
	}
	if v.file != 0 {
		faults = append(faults, place{no: v.file, fault: "found the start of a file (FHS) and no end (FTS): the file may be cut; export it again"})
	}
	return faults
}

// stated compares the count in a trailer with what was found.
func stated(segment []byte, separator byte, field, what, of string, found, or int64) string {
	var text []byte
	if fields := bytes.Split(segment, []byte{separator}); len(fields) > 1 {
		text = bytes.TrimSpace(fields[1])
	}
	if len(text) == 0 {
		return "" // The count is optional.
	}
	n, err := strconv.ParseInt(string(text), 10, 64)
	if err != nil {
		return field + ": found no number, wanted how many " + what + " the " + of + " holds"
	}
	if n != found && n != or {
		return fmt.Sprintf("%s states %d %s, the %s holds %d: the file may be cut; export it again", field, n, what, of, found)
	}
	return ""
}

// wellFormed reports whether a segment begins with a name and, where more
// follows, with something that can be a separator.
func wellFormed(segment []byte) bool {
	if len(segment) < 3 {
		return false
	}
	for i, c := range segment[:3] {
		if !(c >= 'A' && c <= 'Z' || i > 0 && c >= '0' && c <= '9') {
			return false
		}
	}
	return len(segment) == 3 || isSeparator(segment[3])
}
