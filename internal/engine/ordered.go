package engine

import (
	"context"
	"fmt"
	"iter"
	"strings"

	arrow18 "github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/memory"
)

// orderedRows is the number of rows of each record that Ordered yields.
const orderedRows = 32 << 10

// Ordered yields columns of a table or view as Records does, in an order given
// as SQL has it after ORDER BY, which must leave no ties. The engine sorts the
// keys alone and the rows are then picked by their place: it would copy every
// cell of a wide row several times to sort it itself.
func (e *Engine) Ordered(ctx context.Context, what, table string, columns []string, order string) iter.Seq2[arrow.Record, error] {
	return func(yield func(arrow.Record, error) bool) {
		// The engine hands a table's rows out in one order alone (its setting
		// preserve_insertion_order), also through a view.
		place, err := e.whole(ctx, what+" (order)", "SELECT place FROM (SELECT *, row_number() OVER () - 1 AS place FROM "+Name(table)+") ORDER BY "+order)
		if err != nil {
			yield(nil, err)
			return
		}
		defer place.release()
		names := make([]string, len(columns))
		for i, c := range columns {
			names[i] = Name(c)
		}
		all, err := e.whole(ctx, what, "SELECT "+strings.Join(names, ", ")+" FROM "+Name(table))
		if err != nil {
			yield(nil, err)
			return
		}
		defer all.release()
		rows := place.rows()
		if all.rows() != rows {
			yield(nil, fmt.Errorf("%s: %d rows, and %d in order", what, all.rows(), rows))
			return
		}
		if rows == 0 {
			return
		}
		places := place.Column(0).(*array.Int64).Int64Values()
		for len(places) > 0 {
			some := places[:min(orderedRows, len(places))]
			places = places[len(some):]
			record, err := all.pick(some)
			if err != nil {
				yield(nil, fmt.Errorf("%s: %w", what, err))
				return
			}
			more := yield(record, nil)
			record.Release()
			if !more {
				return
			}
		}
	}
}

// result is a whole result as one record, which is nil without rows.
type result struct {
	arrow.Record
	// origins keep the driver's memory, which the record may share.
	origins []arrow18.Record
}

func (r *result) rows() int64 {
	if r.Record == nil {
		return 0
	}
	return r.NumRows()
}

func (r *result) release() {
	if r.Record != nil {
		r.Release()
	}
	for _, o := range r.origins {
		o.Release()
	}
}

// Whole runs a query and gives its result as one record, nil without rows, which
// stays until release is called.
func (e *Engine) Whole(ctx context.Context, what, query string) (record arrow.Record, release func(), err error) {
	r, err := e.whole(ctx, what, query)
	if err != nil {
		return nil, nil, err
	}
	return r.Record, r.release, nil
}

// whole runs a query and holds its result.
func (e *Engine) whole(ctx context.Context, what, query string) (*result, error) {
	var r result
	var parts []arrow.Record
	err := e.read(ctx, query, func(origin arrow18.Record, record arrow.Record) bool {
		origin.Retain()
		r.origins, parts = append(r.origins, origin), append(parts, record)
		return true
	})
	if err == nil && len(parts) > 0 {
		r.Record, err = joined(parts)
	}
	for _, p := range parts {
		p.Release()
	}
	if err != nil {
		r.release()
		return nil, explain(what, err)
	}
	return &r, nil
}

// joined makes one record of several of one schema.
func joined(parts []arrow.Record) (arrow.Record, error) {
	rows := int64(0)
	for _, p := range parts {
		rows += p.NumRows()
	}
	columns := make([]arrow.Array, parts[0].NumCols())
	for i := range columns {
		pieces := make([]arrow.Array, len(parts))
		for j, p := range parts {
			pieces[j] = p.Column(i)
		}
		one, err := array.Concatenate(pieces, memory.DefaultAllocator)
		if err != nil {
			return nil, err
		}
		defer one.Release()
		columns[i] = one
	}
	return array.NewRecord(parts[0].Schema(), columns, rows), nil
}

// pick gives the rows at places.
func (r *result) pick(places []int64) (arrow.Record, error) {
	columns := make([]arrow.Array, r.NumCols())
	for i := range columns {
		one, err := take(r.Column(i), places)
		if err != nil {
			return nil, err
		}
		defer one.Release()
		columns[i] = one
	}
	return array.NewRecord(r.Schema(), columns, int64(len(places))), nil
}
