// Package normalise turns the raw rows of one export into typed records of the
// contract: local codes, units and wall-clock times go in; canonical ones, the
// problems found and the sums come out.
package normalise

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/memory"

	"thawline/internal/contract"
	"thawline/internal/site"
)

// FileInfo is what is known of an export besides its rows.
type FileInfo struct {
	// Name is the base name.
	Name string
	// Date is the last microsecond of the last local day on which the file can have
	// been made, in UTC, as EndOfDay gives it; zero where the name holds no date.
	// Named is that of the day in the name, where it is an earlier one: times
	// between the two are taken, and counted.
	Date, Named time.Time
	// Commas are the columns of which a first reading has found that commas part
	// their decimals: a point that may part thousands is then in doubt.
	Commas Columns
	// Codes holds, by column, published codes of the file's format, in lower
	// case, and the contract's words for them. The site's own map goes before.
	Codes map[string]map[string]string
}

// HeaderError says that an export's header does not fit its feed. It holds
// names of columns, never a cell of a row.
type HeaderError struct {
	// File is the base name of the export, Table the feed's table and Feed the
	// line of site.yaml on which the feed begins.
	File, Table string
	Feed        int
	// Missing names what was wanted and not found: a column of the contract, or
	// the header that site.yaml gives for it. Twice names headers found more
	// than once, so that it is not known which is meant.
	Missing, Twice []string
	// Found is the header.
	Found []string
}

// Error names the file, what was found and wanted, and the next step.
func (e *HeaderError) Error() string {
	var faults []string
	if len(e.Missing) > 0 {
		faults = append(faults, "no column "+strings.Join(e.Missing, ", "))
	}
	if len(e.Twice) > 0 {
		faults = append(faults, "more than one column "+strings.Join(e.Twice, ", "))
	}
	found := strings.Join(e.Found, ", ")
	if len(e.Found) > 40 {
		found = strings.Join(e.Found[:40], ", ") + ", …"
	}
	if len(e.Found) == 1 {
		found += " alone (the names of the columns are the first line that is not blank, parted by a comma, semicolon, tab or pipe; where a title stands above them, state header_row: in the feed)"
	}
	// A file without a header would show a patient's row here.
	if slices.ContainsFunc(e.Found, looksLikeData) {
		found = "a first line that looks like data or a title, not like names of columns (where the names stand further down, state header_row: in the feed)"
	}
	return fmt.Sprintf("%s: header: %s; found %s; wanted the columns of %s: export them, or name them under columns: in the feed on line %d of site.yaml",
		e.File, strings.Join(faults, " and "), found, e.Table, e.Feed)
}

// looksLikeData reports whether a cell of a header has more digits than a name
// of a column has.
func looksLikeData(cell string) bool {
	digits := 0
	for _, r := range cell {
		if r >= '0' && r <= '9' {
			digits++
		}
	}
	return digits >= 4
}

// Mapper holds what is the same for all rows of one export. It does not change
// after New; its batches may run at the same time.
type Mapper struct {
	site  *site.Site
	feed  *site.Feed
	table *contract.Table
	file  []byte
	width int
	// names are those of the file's columns, without outer spaces.
	names  [][]byte
	schema *arrow.Schema

	columns []contract.Column
	// cell gives, for each of columns, the index of its cell, or -1.
	cell []int
	// identifies says which of columns hold identifiers as text; identifying lists
	// their cells.
	identifies  []bool
	identifying []int
	// loincCell, namesCell and elseCell are cells that formats with codes of their
	// own put beside them: the LOINC code, the names, and the word of the contract
	// that holds where no map knows the code; -1 where there is none.
	loincCell, namesCell, elseCell int
	// patient is the cell of the patient's number, or -1.
	patient int
	// at gives a column's index by name.
	at map[string]int
	// The columns that every row fills.
	status, dateOnly, sourceFile, sourceRow int
	// codes holds the words of each coded column, nil elsewhere.
	codes []*codeMap
	// words holds the words of each column whose words are numbered, nil elsewhere.
	words []arrow.Array
	// times lists the instants that a file may give, as indices of columns.
	times []int
	// order lists pairs of times (indices into times), the first of which
	// should not be after the second.
	order [][2]int
	// copies are text columns taken as they are; optional are coded columns
	// whose unknown words are null; required are text columns that a row needs.
	copies, optional, required []int

	// mark parts the decimals of numbers, 0 where the feed does not state it; commas
	// is FileInfo.Commas.
	mark   byte
	commas Columns

	clock   *clock
	layouts []layout
	// fileEnd is FileInfo.Date in microseconds, nameEnd FileInfo.Named or the same;
	// dated says that there is one.
	fileEnd, nameEnd int64
	dated            bool

	quantities []quantity
	// Columns of tables with quantities.
	value, valueRaw, unitRaw int

	products map[string]*product
	normals  map[string][]normal
	add      func(*Batch)
}

// New prepares to read an export of feed f whose header is given. A header
// that does not fit is a *HeaderError.
func New(s *site.Site, f *site.Feed, header []string, file FileInfo) (*Mapper, error) {
	m := &Mapper{site: s, feed: f, table: f.Table, file: []byte(file.Name), width: len(header), columns: f.Table.SourceColumns(), at: map[string]int{}}
	m.schema = schemaOf(m.table, m.columns)
	for i, c := range m.columns {
		m.at[c.Name] = i
	}
	for _, name := range header {
		m.names = append(m.names, []byte(strings.TrimSpace(name)))
	}
	m.identifies = identifying(m.columns)
	m.status, m.dateOnly, m.sourceFile, m.sourceRow = m.index("status"), m.index("date_only"), m.index("source_file"), m.index("source_row")
	if err := m.header(header, file.Name); err != nil {
		return nil, err
	}
	m.patient = -1
	if i, has := m.at["patient_id"]; has {
		m.patient = m.cell[i]
	}
	if !file.Date.IsZero() {
		m.fileEnd, m.nameEnd, m.dated = file.Date.UnixMicro(), file.Date.UnixMicro(), true
		if !file.Named.IsZero() {
			m.nameEnd = file.Named.UnixMicro()
		}
	}
	switch m.commas = file.Commas; f.Decimal {
	case "comma":
		m.mark = ','
	case "point":
		m.mark = '.'
	}
	m.clock = clockOf(s.Zone)
	for _, l := range f.TimeFormats {
		m.layouts = append(m.layouts, newLayout(l))
	}
	m.codes, m.words = make([]*codeMap, len(m.columns)), make([]arrow.Array, len(m.columns))
	for i, c := range m.columns {
		switch {
		case !numbered(m.table, c):
		case i == m.sourceFile:
			m.words[i] = wordArray(file.Name)
		default:
			m.words[i] = wordArray(c.Codes...)
		}
		switch {
		case c.Derived:
		case c.Kind == contract.Bool:
			m.codes[i] = boolCodes(f.Codes[c.Name])
		case c.Codes != nil:
			var ignore map[string]bool
			if c.Name == m.setAsideColumn() {
				ignore = f.Ignore
			}
			m.codes[i] = newCodes(c.Codes, file.Codes[c.Name], f.Codes[c.Name], ignore)
		case c.Kind == contract.Instant:
			m.times = append(m.times, i)
		}
		if c.Kind == contract.Text && c.Codes == nil && !c.Derived && !slices.Contains(handled, c.Name) {
			m.copies = append(m.copies, i)
			if c.Required {
				m.required = append(m.required, i)
			}
		}
		if slices.Contains([]string{"unit_abo", "method", "sex", "abo", "rhd"}, c.Name) {
			m.optional = append(m.optional, i)
		}
	}
	m.prepare()
	return m, nil
}

// wordArray gives words as an Arrow array.
func wordArray(words ...string) arrow.Array {
	b := array.NewStringBuilder(memory.DefaultAllocator)
	defer b.Release()
	b.AppendValues(words, nil)
	return b.NewArray()
}

// handled are text columns that need more than a copy.
var handled = []string{"unit_no", "product_code", "indication_raw", "discard_reason_raw", "value_raw", "unit_raw", "detail_raw", "month"}

// header finds the cell of each column. Names are compared without case and
// outer spaces.
func (m *Mapper) header(header []string, name string) error {
	fault := &HeaderError{File: name, Table: m.table.Name, Feed: m.feed.Line, Found: header}
	cells, times := map[string]int{}, map[string]int{}
	for i, h := range header {
		key := strings.ToLower(strings.TrimSpace(h))
		cells[key], times[key] = i, times[key]+1
	}
	m.loincCell, m.namesCell, m.elseCell = -1, -1, -1
	if m.feed.Columns == nil {
		for name, into := range map[string]*int{"loinc": &m.loincCell, "code_names": &m.namesCell, "kind_else": &m.elseCell} {
			if cell, there := cells[name]; there && times[name] == 1 {
				*into = cell
			}
		}
	}
	m.cell = make([]int, len(m.columns))
	for i, c := range m.columns {
		m.cell[i] = -1
		if c.Derived {
			continue
		}
		wanted, mapped := c.Name, false
		if m.feed.Columns != nil {
			if wanted, mapped = m.feed.Columns[c.Name], m.feed.Columns[c.Name] != ""; !mapped {
				continue
			}
		}
		key := strings.ToLower(strings.TrimSpace(wanted))
		cell, there := cells[key]
		switch {
		case !there && mapped:
			fault.Missing = append(fault.Missing, fmt.Sprintf("%q (for %s)", wanted, c.Name))
		case times[key] > 1:
			fault.Twice = append(fault.Twice, fmt.Sprintf("%q", wanted))
		case there:
			m.cell[i] = cell
			if m.identifies[i] {
				m.identifying = append(m.identifying, cell)
			}
		}
	}
	if m.feed.Columns == nil {
		for _, group := range site.Required(m.table) {
			if !slices.ContainsFunc(group, func(c string) bool { return times[c] > 0 }) {
				fault.Missing = append(fault.Missing, strings.Join(group, " or "))
			}
		}
	}
	if fault.Missing != nil || fault.Twice != nil {
		return fault
	}
	return nil
}

// index gives the place of a column in m.columns; the name is one of the contract.
func (m *Mapper) index(name string) int {
	i, known := m.at[name]
	if !known {
		panic("normalise: no column " + name + " in " + m.table.Name)
	}
	return i
}

// timeIndex gives the place of a time in m.times.
func (m *Mapper) timeIndex(name string) int { return slices.Index(m.times, m.index(name)) }

// prepare chooses the table's own work.
func (m *Mapper) prepare() {
	switch m.table {
	case contract.Issues:
		m.prepareIssues()
	case contract.Bedside:
		m.prepareBedside()
	case contract.Labs:
		m.prepareLabs()
	case contract.Measures:
		m.prepareMeasures()
	case contract.Events:
		m.prepareEvents()
	case contract.Medicines:
		m.prepareMedicines()
	case contract.Patients:
		m.preparePatients()
	case contract.Activity:
		m.prepareActivity()
	default:
		m.add = (*Batch).plain
	}
}

// Counts are the sums of an export. Read = Accepted + Rejected + SetAside.
type Counts struct {
	Read, Accepted, Rejected, SetAside int64
	// Counted holds what was done silently, by name: times_set_equal and others.
	Counted map[string]int64
	// SetAsideCodes lists codes in no map, by "column=local code".
	SetAsideCodes map[string]CodeCount
	// commas are the columns in which a comma parts decimals, points those with a
	// point that could part thousands; of feeds alone that state no mark.
	commas, points Columns
	// Unmapped lists unknown words of optional columns, by "column=local code".
	Unmapped map[string]int64
	// Patients holds the patients in whose rows such a code stands, by the same
	// names, as far as they are looked at.
	Patients map[string]Patients
}

// Shared lists the codes that stand in the rows of several patients, sorted: a
// word of many is no word about one of them.
func (c *Counts) Shared() []string {
	var all []string
	for code, who := range c.Patients {
		if len(who) == SeveralPatients {
			all = append(all, code)
		}
	}
	slices.Sort(all)
	return all
}

// SeveralPatients is how many patients must share a code before it is shown
// whatever it looks like. More are not looked at.
const SeveralPatients = 5

// Patients are hashes of patients' numbers, up to SeveralPatients.
type Patients []uint64

func (p *Patients) add(who uint64) {
	if len(*p) < SeveralPatients && !slices.Contains(*p, who) {
		*p = append(*p, who)
	}
}

// see notes the patient of the row at hand.
func (p *Patients) see(b *Batch) {
	if len(*p) == SeveralPatients || b.m.patient < 0 {
		return
	}
	who := b.cells[b.m.patient]
	if len(who) == 0 {
		return
	}
	hash := uint64(14695981039346656037) // FNV-1a
	for _, c := range who {
		hash = (hash ^ uint64(c)) * 1099511628211
	}
	p.add(hash)
}

// CodeCount is how often a code was set aside, and the unit of its first row.
type CodeCount struct {
	Count       int64
	ExampleUnit string
}

// Columns is a set of columns of a table.
type Columns uint64

// InDoubt are the columns of an export in which a comma parts decimals in some
// cells, and a point may part thousands in others: read again with these as
// FileInfo.Commas, the export has the latter for problems.
func (c *Counts) InDoubt() Columns { return c.commas & c.points }

// Merge adds the sums of a later part of the same export.
func (c *Counts) Merge(o Counts) {
	c.Read, c.Accepted, c.Rejected, c.SetAside = c.Read+o.Read, c.Accepted+o.Accepted, c.Rejected+o.Rejected, c.SetAside+o.SetAside
	c.commas, c.points = c.commas|o.commas, c.points|o.points
	if c.Counted == nil {
		c.Counted = map[string]int64{}
	}
	if c.SetAsideCodes == nil {
		c.SetAsideCodes = map[string]CodeCount{}
	}
	if c.Unmapped == nil {
		c.Unmapped = map[string]int64{}
	}
	if c.Patients == nil {
		c.Patients = map[string]Patients{}
	}
	for name, n := range o.Counted {
		c.Counted[name] += n
	}
	for code, n := range o.SetAsideCodes {
		mine := c.SetAsideCodes[code]
		mine.Count += n.Count
		if mine.ExampleUnit == "" {
			mine.ExampleUnit = n.ExampleUnit
		}
		c.SetAsideCodes[code] = mine
	}
	for code, n := range o.Unmapped {
		c.Unmapped[code] += n
	}
	for code, who := range o.Patients {
		mine := c.Patients[code]
		for _, hash := range who {
			mine.add(hash)
		}
		c.Patients[code] = mine
	}
}
