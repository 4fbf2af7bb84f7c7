// Package contract states every table that Thawline keeps, once: its columns,
// their types, units, codes and keys. Arrow schemas, Parquet metadata, the
// verb describe and the documentation are made from these values, so they
// cannot drift apart.
package contract

import "fmt"

// Version is the version of this contract. A store written under another
// version is refused, never guessed at. Version 2 reads clotting times beyond the
// analyser as unclottable, spreadsheets' errors in issued_at and fate as written,
// more forms of ISO 8601 and fewer years, and notes which codes patients share.
const Version = 2

// Kind is the type of a column. Each maps to one Arrow and one Parquet type.
type Kind int

// The kinds of column.
const (
	// Text is UTF-8.
	Text Kind = iota
	// Int is a signed 64-bit whole number.
	Int
	// Real is a 64-bit float, for measurements that are compared, never summed.
	Real
	// Decimal is DECIMAL(18,3), for mL and kg, which are summed: a sum of
	// decimals does not depend on the order of its terms.
	Decimal
	// Instant is a UTC time in microseconds, without zone in the file.
	Instant
	// Local is hospital wall-clock time in microseconds.
	Local
	// Date is a calendar day.
	Date
	// Bool is true or false.
	Bool
)

var kindNames = [...]string{"text", "int", "real", "decimal", "instant", "local", "date", "bool"}

// String gives the word used for k in the documentation.
func (k Kind) String() string {
	if int(k) < 0 || int(k) >= len(kindNames) {
		return fmt.Sprintf("Kind(%d)", int(k))
	}
	return kindNames[k]
}

// DecimalPrecision and DecimalScale describe every Decimal column: thousandths
// of a millilitre or of a kilogram (a gram).
const (
	DecimalPrecision = 18
	DecimalScale     = 3
)

// Column is one column of a table.
type Column struct {
	// Name is the column's name everywhere: in Go comments, Parquet, SQL and
	// the pack. Instants end in _at.
	Name string
	Kind Kind
	// Unit is the unit of measurement by UCUM code, or empty.
	Unit string
	// Codes is the whole vocabulary of a coded column, or nil.
	Codes []string
	// Required says that a row without this value is rejected.
	Required bool
	// Derived says that Thawline makes the value; no file gives it.
	Derived bool
	// CurrentOnly says that the column exists in the layer current, not in
	// sources: it follows from several rows together.
	CurrentOnly bool
	// Identifies says that a value points to a person. It is never shown in an
	// error, a log or a pack.
	Identifies bool
	// Doc is one line for a reader of the data.
	Doc string
}

// Table is one table of the contract.
type Table struct {
	// Name is the table's name in site.yaml, in the store and in SQL.
	Name string
	// Doc is one line for a reader of the data.
	Doc string
	// Row says what one row is.
	Row     string
	Columns []Column
	// Key names the columns that identify a row in current.
	Key []string
}

// Column returns the column of that name, or nil.
func (t *Table) Column(name string) *Column {
	for i := range t.Columns {
		if t.Columns[i].Name == name {
			return &t.Columns[i]
		}
	}
	return nil
}

// SourceColumns returns the columns of t as a reading holds them.
func (t *Table) SourceColumns() []Column {
	var columns []Column
	for _, c := range t.Columns {
		if !c.CurrentOnly {
			columns = append(columns, c)
		}
	}
	return columns
}

// IsCode reports whether code is in c's vocabulary (exact spelling).
func (c *Column) IsCode(code string) bool {
	for _, known := range c.Codes {
		if known == code {
			return true
		}
	}
	return false
}

// Feeds lists the tables that exports fill, in the order of the contract.
func Feeds() []*Table {
	return []*Table{Issues, Bedside, Labs, Measures, Events, Medicines, Patients, Aliases, Activity}
}

// Audit lists the tables that marking makes, in the order they are made.
func Audit() []*Table {
	return []*Table{Episodes, Units, Bags, Evidence, Findings, RulesRun, Weights, OtherMarks}
}

// Tables lists every stored table: feeds, when they were kept, problems, those
// of the audit, and what a pack said.
func Tables() []*Table {
	return append(append(append(Feeds(), Recorded, Problems), Audit()...), PackMarks)
}

// Find returns the stored table of that name, or nil.
func Find(name string) *Table {
	for _, t := range Tables() {
		if t.Name == name {
			return t
		}
	}
	return nil
}

// Fields shared by every feed, appended by feed().
func shared() []Column {
	return []Column{
		{Name: "status", Kind: Text, Codes: []string{"cancelled"}, Doc: "cancelled takes the row's key out (entered in error, wrong patient, deleted)"},
		{Name: "date_only", Kind: Text, Derived: true, Doc: "names of this row's time columns that the source told as a date alone, parted by spaces"},
		{Name: "source_file", Kind: Text, Required: true, Derived: true, Doc: "base name of the export"},
		{Name: "source_row", Kind: Int, Required: true, Derived: true, Doc: "line, sheet row or segment on which the row begins, 1-based, header counted"},
	}
}

// feed completes a feed's table with the shared columns it does not state itself.
func feed(t *Table) *Table {
	for _, c := range shared() {
		if t.Column(c.Name) == nil {
			t.Columns = append(t.Columns, c)
		}
	}
	return t
}
