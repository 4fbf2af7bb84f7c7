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
}

// Tally counts the lines of problems of one file by what is wrong. Outputs are
// added in the order of the file.
type Tally struct {
	counts map[ProblemCount]*ProblemCount
}

// Add counts the problems of a part of the file and keeps nothing of them.
func (t *Tally) Add(o *Output) {
	if o.Problems == nil || o.Problems.NumRows() == 0 {
		return
	}
	if t.counts == nil {
		t.counts = map[ProblemCount]*ProblemCount{}
	}
	severity, column, reason := problemText(o.Problems, "severity"), problemText(o.Problems, "column"), problemText(o.Problems, "reason")
	rows := problemColumn(o.Problems, "source_row").(*array.Int64)
	for i := range rows.Len() {
		key := ProblemCount{Severity: severity.Value(i), Column: column.Value(i), Reason: reason.Value(i)}
		if t.counts[key] == nil {
			// The text lies in memory that the next batch writes over.
			key = ProblemCount{Severity: strings.Clone(key.Severity), Column: strings.Clone(key.Column), Reason: strings.Clone(key.Reason)}
			first := key
			first.First = rows.Value(i)
			t.counts[key] = &first
		}
		t.counts[key].Rows++
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
