package normalise

import (
	"bytes"
	"strconv"

	"github.com/apache/arrow/go/v17/arrow"

	"thawline/internal/contract"
)

// Output is what the rows of one batch became.
type Output struct {
	// Records holds the accepted rows by table name; labs by "labs-" and test.
	// Rows stand in the order in which they were added.
	Records map[string]arrow.Record
	// Problems has the columns of contract.Problems and may have no rows.
	Problems arrow.Record
	Counts   Counts

	frames []*frame
}

// Release gives the memory of the records back; they must not be used after it.
func (o *Output) Release() {
	for _, record := range o.Records {
		record.Release()
	}
	o.Problems.Release()
	for _, f := range o.frames {
		f.recycle()
	}
	o.Records, o.Problems, o.frames = nil, nil, nil
}

// Names of Counts.Counted.
const (
	countSetEqual     = "times_set_equal"
	countRepeated     = "repeated_hours"
	countSkipped      = "skipped_hours"
	countDateDropped  = "dates_without_time_dropped"
	countNoUnit       = "unit_not_stated"
	countWrongUnit    = "unit_not_of_the_test"
	countDerived      = "derived_ratios"
	countNoNormal     = "ratios_without_mean_normal"
	countSuspect      = "suspect_values"
	countDropped      = "dropped_values"
	countCheckRemoved = "check_characters_removed"
	countAfterMonth   = "times_after_the_month"
	countTexts        = "texts_not_listed"
)

// Batch reads the rows of one segment. It is for one goroutine.
type Batch struct {
	m      *Mapper
	counts Counts

	// The row at hand, its cells without outer spaces.
	line     int64
	cells    [][]byte
	row      row
	times    []instant
	repeated int
	// faults reject the row; doubts are told of it where it is accepted.
	faults, doubts []fault
	// spoiled lists columns whose cells were emptied.
	spoiled []spoiled
	// apart says what is wrong with a row of which only some cells are known: what
	// it lacks beside that is no other fault.
	apart string

	frames   map[string]*frame
	byTest   []*frame
	problems *frame
	setAside map[string]*leftCode
	others   map[string]int64
	unmapped []map[string]*leftCode

	scratch, unit, dates []byte
	// isoDate is the last date that was read, as written, and isoDay what it says.
	isoDate   []byte
	isoDay    written
	number    []byte
	hint      int
	midnights map[int64]int64
	units     []map[string]unitAnswer
	lastUnit  []writtenUnit
	recent    []*recent
	// contradicted remembers what was said of codes of LOINC.
	contradicted map[string]string
}

// leftCode is what is known of a code in no map.
type leftCode struct {
	CodeCount
	patients Patients
}

type fault struct {
	column   string
	raw      []byte
	severity string
	reason   string
}

// problemColumns are the columns of the problems table.
var problemColumns = contract.Problems.SourceColumns()

var problemSchema = schemaOf(contract.Problems, problemColumns)

// NewBatch starts a batch of rows. Batches of one Mapper are independent.
func (m *Mapper) NewBatch() *Batch {
	return &Batch{
		m: m, row: row{slots: make([]slot, len(m.columns))}, times: make([]instant, len(m.times)),
		counts: Counts{Counted: map[string]int64{}, SetAsideCodes: map[string]CodeCount{}, Unmapped: map[string]int64{}, Patients: map[string]Patients{}},
		frames: map[string]*frame{}, byTest: make([]*frame, len(contract.Tests)), problems: newFrame(problemSchema, problemColumns, nil),
		setAside: map[string]*leftCode{}, others: map[string]int64{}, unmapped: make([]map[string]*leftCode, len(m.columns)), midnights: map[int64]int64{},
		units: make([]map[string]unitAnswer, len(m.quantities)), lastUnit: make([]writtenUnit, len(m.quantities)), recent: make([]*recent, len(m.columns)),
	}
}

// Add reads one row, which begins on line. The cells may alias a buffer; it
// must stay as it is until Finish.
func (b *Batch) Add(line int64, cells [][]byte) {
	b.counts.Read++
	b.line = line
	b.faults, b.doubts = b.faults[:0], b.doubts[:0]
	b.cells = b.cells[:0]
	spoilt := false
	for _, cell := range cells {
		cell = trim(cell)
		spoilt = spoilt || len(cell) > 0 && cell[0] == '#'
		b.cells = append(b.cells, cell)
	}
	// A delimiter at the end of a line tells nothing.
	for len(b.cells) > b.m.width && len(b.cells[len(b.cells)-1]) == 0 {
		b.cells = b.cells[:len(b.cells)-1]
	}
	if len(b.cells) != b.m.width {
		b.reject("source_row", nil, reasonWidth, strconv.Itoa(len(b.cells)), strconv.Itoa(b.m.width))
		b.refuse()
		return
	}
	if b.isHeader() {
		b.reject("source_row", nil, reasonHeaderAgain)
		b.refuse()
		return
	}
	b.spoiled = b.spoiled[:0]
	for _, cell := range b.m.identifying {
		spoilt = spoilt || roundedNumber(b.cells[cell])
	}
	if spoilt {
		b.empty()
	}
	b.row.filled = 0
	if b.apart != "" {
		b.reject("source_row", nil, reasonApart, b.apart)
	}
	b.m.add(b)
}

// Reject counts a row that could not be taken apart, and notes why: says
// what was found, wanted and is to be done, without a cell of it.
func (b *Batch) Reject(line int64, says string) {
	b.counts.Read++
	b.line = line
	b.faults = b.faults[:0]
	b.reject("source_row", nil, reasonApart, says)
	b.refuse()
}

// AddFaulty reads a row that is at fault as Reject has it, of which the cells say
// what it is of: a row whose code is in no map is set aside, which is decided first.
func (b *Batch) AddFaulty(line int64, cells [][]byte, says string) {
	b.apart = says
	b.Add(line, cells)
	b.apart = ""
}

// SetAside counts what stands in the place of a row and is none of the table,
// under a name of the form kind=code.
func (b *Batch) SetAside(other string) {
	b.counts.Read++
	b.counts.SetAside++
	if !b.ignored([]byte(other)) {
		b.others[string(shorten([]byte(other)))]++
	}
}

// Finish hands over what the rows became. The batch must not be used after it.
func (b *Batch) Finish() *Output {
	out := &Output{Records: map[string]arrow.Record{}, Problems: b.problems.record(), Counts: b.counts, frames: []*frame{b.problems}}
	for name, f := range b.frames {
		out.Records[name] = f.record()
		out.frames = append(out.frames, f)
	}
	for code, n := range b.setAside {
		name := b.m.setAsideColumn() + "=" + code
		out.Counts.SetAsideCodes[name], out.Counts.Patients[name] = n.CodeCount, n.patients
	}
	for other, n := range b.others {
		out.Counts.SetAsideCodes[other] = CodeCount{Count: n}
	}
	for i, words := range b.unmapped {
		for word, n := range words {
			name := b.m.columns[i].Name + "=" + word
			out.Counts.Unmapped[name], out.Counts.Patients[name] = n.Count, n.patients
		}
	}
	return out
}

// beside gives the cell that a format puts beside a code, nil where it
// has none.
func (b *Batch) beside(cell int) []byte {
	if cell < 0 {
		return nil
	}
	return b.cells[cell]
}

// decimal reads the cell of a column as a number.
func (b *Batch) decimal(column int, text []byte) (float64, bool) {
	v, f, ok := parseNumber(text, b.m.mark)
	return v, ok && (f == formPlain || b.marked(column, f))
}

// marked notes by which mark the decimals of a column are parted; false where a
// point may part thousands, and other cells of the column have a comma.
func (b *Batch) marked(column int, f form) bool {
	of := Columns(1) << column
	if f == formComma {
		b.counts.commas |= of
		return true
	}
	b.counts.points |= of
	return b.m.commas&of == 0
}

// whyNot says why a cell with a number in it is not read as one; nil where there
// is none in it.
func (b *Batch) whyNot(column int, text []byte) (why *reason, part string) {
	switch why = whyNoNumber(text, b.m.mark); {
	case b.m.mark == ',':
		part = "comma"
	case b.m.mark == '.':
		part = "point"
	case why == reasonMark && bytes.IndexByte(text, '.') >= 0:
		// Read but for its column.
		if why = reasonPoint; b.m.commas>>column&1 != 0 {
			why = reasonMixed
		}
	}
	return why, part
}

// text gives the cell of a column, nil where the file has none.
func (b *Batch) text(column int) []byte {
	cell := b.m.cell[column]
	if cell < 0 {
		return nil
	}
	return b.cells[cell]
}

// set fills a column of text whose words are not numbered.
func (b *Batch) set(column int, text []byte) {
	if b.m.words[column] != nil {
		panic("normalise: a word without its number in " + b.m.columns[column].Name)
	}
	b.row.putText(column, text)
}

// setWord fills a coded column with the word of index i of its codes.
func (b *Batch) setWord(column, i int) {
	if b.m.words[column] != nil {
		b.row.putInt(column, int64(i))
		return
	}
	b.set(column, b.m.codes[column].words[i])
}

func (b *Batch) setInt(column int, n int64) {
	b.row.putInt(column, n)
}

// reject notes a required field at fault; doubt a field that is dropped,
// suspect or kept with a note.
func (b *Batch) reject(column string, raw []byte, why *reason, parts ...string) {
	b.faults = append(b.faults, fault{column, raw, "rejected", why.text(parts)})
}

func (b *Batch) doubt(column string, raw []byte, severity string, why *reason, parts ...string) {
	b.doubts = append(b.doubts, fault{column, raw, severity, why.text(parts)})
}

func (b *Batch) count(name string) { b.counts.Counted[name]++ }

// recent remembers what a few texts of a column mean: an export says the same
// words again and again, and a look at the last ones costs less than the map.
type recent [32]struct {
	text  []byte
	index int
	known bool
}

// code looks a cell up in its column's map; known is false for an unknown word
// and for an empty cell alike.
func (b *Batch) code(column int, raw []byte) (index int, known bool) {
	if len(raw) == 0 {
		return 0, false
	}
	if b.recent[column] == nil {
		b.recent[column] = new(recent)
	}
	of := &b.recent[column][(raw[0]^raw[len(raw)-1]<<1^byte(len(raw))<<2)%byte(len(recent{}))]
	if !bytes.Equal(of.text, raw) {
		b.scratch = fold(b.scratch[:0], raw)
		of.index, of.known = b.m.codes[column].index[string(b.scratch)]
		of.text = append(of.text[:0], raw...)
	}
	return of.index, of.known
}

// optionalCode fills a coded column that no row needs: an unknown word is null
// and listed.
func (b *Batch) optionalCode(column int, raw []byte) {
	if len(raw) == 0 {
		return
	}
	if i, known := b.code(column, raw); known {
		b.setWord(column, i)
		return
	}
	b.unknownWord(column, raw)
}

func (b *Batch) unknownWord(column int, raw []byte) {
	raw = shorten(raw)
	if b.unmapped[column] == nil {
		b.unmapped[column] = map[string]*leftCode{}
	}
	n := b.unmapped[column][string(raw)]
	if n == nil {
		n = &leftCode{}
		b.unmapped[column][string(raw)] = n
	}
	n.Count++
	n.patients.see(b)
}

// setAsideColumn names the column whose code decides whether a row is stored.
func (m *Mapper) setAsideColumn() string {
	switch m.table {
	case contract.Issues, contract.Bedside:
		return "product_code"
	case contract.Labs:
		return "test"
	case contract.Medicines:
		return "medicine"
	case contract.Activity:
		return "measure"
	}
	return "kind"
}

// leave sets the row aside: its code is in no map.
func (b *Batch) leave(raw, unit []byte) {
	b.counts.SetAside++
	if b.ignored(raw) || b.listed(b.beside(b.m.loincCell)) {
		return
	}
	raw = shorten(raw)
	n := b.setAside[string(raw)]
	if n == nil {
		n = &leftCode{}
		b.setAside[string(raw)] = n
	}
	n.Count++
	n.patients.see(b)
	if n.ExampleUnit == "" {
		n.ExampleUnit = string(shorten(unit))
	}
}

// ignored reports whether a code is set aside without a word.
func (b *Batch) ignored(code []byte) bool {
	return b.m.feed.IgnoreRest || b.listed(code)
}

// listed reports whether the site's list of codes to be ignored names a code.
func (b *Batch) listed(code []byte) bool {
	if b.m.feed.Ignore == nil {
		return false
	}
	b.scratch = fold(b.scratch[:0], code)
	return b.m.feed.Ignore[string(b.scratch)]
}

// common fills what every table has: texts as they are, optional codes, the
// status of tables other than labs, and the place of the row.
func (b *Batch) common() {
	m := b.m
	for _, i := range m.copies {
		if text := b.text(i); len(text) > 0 {
			b.set(i, text)
		}
	}
	for _, i := range m.required {
		if !b.row.has(i) {
			b.missing(m.columns[i].Name)
		}
	}
	for _, i := range m.optional {
		b.optionalCode(i, b.text(i))
	}
	if m.table != contract.Labs {
		if raw := b.text(m.status); len(raw) > 0 {
			// Any other word of a status means nothing here.
			if i, known := b.code(m.status, raw); known {
				b.setWord(m.status, i)
			}
		}
	}
	b.row.putInt(m.sourceFile, 0) // Its only word.
	b.setInt(m.sourceRow, b.line)
}

func (b *Batch) missing(column string) {
	if b.apart == "" {
		b.rejectEmpty(column)
	}
}

// done decides the row: rejected, or accepted into the frame of that name.
func (b *Batch) done() bool {
	if len(b.faults) > 0 {
		b.refuse()
		return false
	}
	b.counts.Accepted++
	b.tell(b.doubts)
	for _, d := range b.doubts {
		switch d.severity {
		case "suspect":
			b.count(countSuspect)
		case "dropped":
			b.count(countDropped)
		}
	}
	return true
}

// keep adds the row to a table's records.
func (b *Batch) keep(name string) {
	f := b.frames[name]
	if f == nil {
		f = newFrame(b.m.schema, b.m.columns, b.m.words)
		b.frames[name] = f
	}
	f.append(&b.row)
}

func (b *Batch) refuse() {
	b.counts.Rejected++
	b.tell(b.faults)
}

// tell writes lines of problems.
func (b *Batch) tell(faults []fault) {
	for i := range faults {
		p := &faults[i]
		told := row{slots: []slot{{text: b.m.file}, {n: b.line}, {text: []byte(p.column)}, {text: shorten(p.raw)}, {text: []byte(p.severity)}, {text: []byte(p.reason)}}}
		told.filled = 1<<len(told.slots) - 1
		if p.raw == nil {
			told.take(3)
		}
		b.problems.append(&told)
	}
}

// plain is the work of a table that needs no other: aliases.
func (b *Batch) plain() {
	b.common()
	if b.done() {
		b.keep(b.m.table.Name)
	}
}
