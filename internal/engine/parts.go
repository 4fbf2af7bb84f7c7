package engine

import (
	"context"
	"iter"

	arrow18 "github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
)

// Numbered is rows of a result that stand together.
type Numbered struct {
	// No is what the result's last column says of each of them.
	No int64
	// Rows are their other columns.
	arrow.Record
}

// Parts yields a result as Records does, without its last column: a whole number
// by which the rows are ordered first. No record holds rows of two numbers.
func (e *Engine) Parts(ctx context.Context, what, query string) iter.Seq2[Numbered, error] {
	return func(yield func(Numbered, error) bool) {
		var schema *arrow.Schema
		err := e.read(ctx, query, func(_ arrow18.Record, whole arrow.Record) bool {
			defer whole.Release()
			last := int(whole.NumCols()) - 1
			if schema == nil {
				schema = arrow.NewSchema(whole.Schema().Fields()[:last], nil)
			}
			rows := array.NewRecord(schema, whole.Columns()[:last], whole.NumRows())
			defer rows.Release()
			numbers := whole.Column(last).(*array.Int64).Int64Values()
			for from := 0; from < len(numbers); {
				to := from + 1
				for to < len(numbers) && numbers[to] == numbers[from] {
					to++
				}
				some := rows.NewSlice(int64(from), int64(to))
				more := yield(Numbered{numbers[from], some}, nil)
				some.Release()
				if !more {
					return false
				}
				from = to
			}
			return true
		})
		if err != nil {
			yield(Numbered{}, explain(what, err))
		}
	}
}
