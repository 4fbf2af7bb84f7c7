package normalise

import (
	"cmp"
	"slices"
	"strings"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
)

// ProblemCount is how often one thing is wrong in one file.
type ProblemCount struct {
	Table, File, Severity, Column, Reason string
	Rows                                  int64
	// First is the row where it is first.
	First int64
	// Raw counts what was written, of columns for which a Tally was asked to keep
	// it; RawMore are rows of texts beyond those that it keeps.
	Raw     map[string]int64
	RawMore int64
}

// mostRaw is how many texts are kept of one thing that is wrong.
const mostRaw = 200

// Tally counts the lines of problems of one file by what is wrong. Outputs are
// added in the order of the file.
type Tally struct {
	// Keep says of which columns what was written may be kept; nil is none.
	Keep func(column string) bool

	counts map[problemKey]*ProblemCount
}

type problemKey struct{ severity, column, reason string }

// Add counts the problems of a part of the file and keeps no more of them than Keep
// allows.
func (t *Tally) Add(o *Output) {
	if o.Problems == nil || o.Problems.NumRows() == 0 {
		return
	}
	if t.counts == nil {
		t.counts = map[problemKey]*ProblemCount{}
	}
	severity, column, reason, raw := problemText(o.Problems, "severity"), problemText(o.Problems, "column"), problemText(o.Problems, "reason"), problemText(o.Problems, "raw")
	rows := problemColumn(o.Problems, "source_row").(*array.Int64)
	for i := range rows.Len() {
		key := problemKey{severity.Value(i), column.Value(i), reason.Value(i)}
		c := t.counts[key]
		if c == nil {
			// The text lies in memory that the next batch writes over.
			key = problemKey{strings.Clone(key.severity), strings.Clone(key.column), strings.Clone(key.reason)}
			c = &ProblemCount{Severity: key.severity, Column: key.column, Reason: key.reason, First: rows.Value(i), Raw: map[string]int64{}}
			t.counts[key] = c
		}
		c.Rows++
		if t.Keep == nil || raw.IsNull(i) || !t.Keep(key.column) {
			continue
		}
		if _, there := c.Raw[raw.Value(i)]; !there && len(c.Raw) >= mostRaw {
			c.RawMore++
			continue
		}
		c.Raw[strings.Clone(raw.Value(i))]++
	}
}

func problemColumn(record arrow.Record, name string) arrow.Array {
	return record.Column(record.Schema().FieldIndices(name)[0])
}

func problemText(record arrow.Record, name string) *array.String {
	return problemColumn(record, name).(*array.String)
}

// Counts lists what was counted for a file of a table, in a fixed order.
func (t *Tally) Counts(table, file string) []ProblemCount {
	var all []ProblemCount
	for _, c := range t.counts {
		c.Table, c.File = table, file
		all = append(all, *c)
	}
	slices.SortFunc(all, func(a, b ProblemCount) int {
		return cmp.Or(cmp.Compare(a.Severity, b.Severity), cmp.Compare(a.Column, b.Column), cmp.Compare(a.Reason, b.Reason))
	})
	return all
}
