package store

import (
	"fmt"
	"math"
	"sync"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/file"

	"thawline/internal/contract"
)

// chunk gathers one column of the row group in hand. It copies: the records of
// the engine live only until the next one is asked for.
type chunk struct {
	column contract.Column
	// levels holds 1 for a value and 0 for a null; empty for a required column.
	levels []int16
	// Of these, one holds the values without the nulls, by the column's kind.
	ints   []int64
	days   []int32
	reals  []float64
	truths []bool
	text   []byte
	ends   []int
	cells  []parquet.ByteArray
}

// chunks holds used chunks by kind for the next file: to grow them anew costs as
// much as to fill them.
var chunks struct {
	mutex sync.Mutex
	free  map[contract.Kind][]chunk
}

// spareChunks bounds the chunks of a kind that are kept.
const spareChunks = 40

// newChunk gives an empty chunk for a column.
func newChunk(column contract.Column) chunk {
	chunks.mutex.Lock()
	defer chunks.mutex.Unlock()
	var c chunk
	if spare := chunks.free[column.Kind]; len(spare) > 0 {
		c = spare[len(spare)-1]
		chunks.free[column.Kind] = spare[:len(spare)-1]
	}
	c.column = column
	return c
}

// recycle takes back chunks that no writer uses any more.
func recycle(used []chunk) {
	chunks.mutex.Lock()
	defer chunks.mutex.Unlock()
	if chunks.free == nil {
		chunks.free = map[contract.Kind][]chunk{}
	}
	for i := range used {
		c := &used[i]
		c.empty()
		if kind := c.column.Kind; len(chunks.free[kind]) < spareChunks {
			chunks.free[kind] = append(chunks.free[kind], *c)
		}
	}
}

// empty forgets the rows.
func (c *chunk) empty() {
	c.levels, c.ints, c.days, c.reals, c.truths = c.levels[:0], c.ints[:0], c.days[:0], c.reals[:0], c.truths[:0]
	c.text, c.ends, c.cells = c.text[:0], c.ends[:0], c.cells[:0]
}

// add appends rows from up to, but not including, to.
func (c *chunk) add(values arrow.Array, from, to int) error {
	if c.column.Required {
		if values.NullN() > 0 {
			for i := from; i < to; i++ {
				if values.IsNull(i) {
					return fmt.Errorf("column %s: a value is missing where the contract requires one: reject the row, or give the value, before it is written", c.column.Name)
				}
			}
		}
	} else if values.NullN() == 0 {
		for range to - from {
			c.levels = append(c.levels, 1)
		}
	} else {
		for i := from; i < to; i++ {
			if values.IsNull(i) {
				c.levels = append(c.levels, 0)
			} else {
				c.levels = append(c.levels, 1)
			}
		}
	}
	nulls := values.NullN() > 0
	skip := func(i int) bool { return nulls && values.IsNull(i) }
	switch a := values.(type) {
	case *array.String:
		for i := from; i < to; i++ {
			if !skip(i) {
				c.text = append(c.text, a.Value(i)...)
				c.ends = append(c.ends, len(c.text))
			}
		}
	case *array.Int64:
		for i := from; i < to; i++ {
			if !skip(i) {
				c.ints = append(c.ints, a.Value(i))
			}
		}
	case *array.Int32:
		for i := from; i < to; i++ {
			if !skip(i) {
				c.ints = append(c.ints, int64(a.Value(i)))
			}
		}
	case *array.Timestamp:
		for i := from; i < to; i++ {
			if !skip(i) {
				c.ints = append(c.ints, int64(a.Value(i)))
			}
		}
	case *array.Decimal128:
		for i := from; i < to; i++ {
			if skip(i) {
				continue
			}
			v := a.Value(i)
			low := int64(v.LowBits())
			if v.HighBits() != low>>63 || low >= decimalLimit || low <= -decimalLimit {
				return fmt.Errorf("column %s: a value has more than %d digits", c.column.Name, contract.DecimalPrecision)
			}
			c.ints = append(c.ints, low)
		}
	case *array.Float64:
		for i := from; i < to; i++ {
			if skip(i) {
				continue
			}
			v := a.Value(i)
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return fmt.Errorf("column %s: a value is not a finite number: give null where there is none", c.column.Name)
			}
			c.reals = append(c.reals, v)
		}
	case *array.Date32:
		for i := from; i < to; i++ {
			if !skip(i) {
				c.days = append(c.days, int32(a.Value(i)))
			}
		}
	case *array.Boolean:
		for i := from; i < to; i++ {
			if !skip(i) {
				c.truths = append(c.truths, a.Value(i))
			}
		}
	}
	return nil
}

// decimalLimit is the first whole number with a digit too many.
const decimalLimit = 1_000_000_000_000_000_000 // 10^contract.DecimalPrecision

// flush writes what was gathered as one column chunk and forgets it.
func (c *chunk) flush(to file.ColumnChunkWriter) error {
	var err error
	levels := c.levels
	if c.column.Required {
		levels = nil
	}
	switch w := to.(type) {
	case *file.ByteArrayColumnChunkWriter:
		c.cells = c.cells[:0]
		start := 0
		for _, end := range c.ends {
			c.cells = append(c.cells, parquet.ByteArray(c.text[start:end:end]))
			start = end
		}
		_, err = w.WriteBatch(c.cells, levels, nil)
	case *file.Int64ColumnChunkWriter:
		_, err = w.WriteBatch(c.ints, levels, nil)
	case *file.Int32ColumnChunkWriter:
		_, err = w.WriteBatch(c.days, levels, nil)
	case *file.Float64ColumnChunkWriter:
		_, err = w.WriteBatch(c.reals, levels, nil)
	case *file.BooleanColumnChunkWriter:
		_, err = w.WriteBatch(c.truths, levels, nil)
	default:
		err = fmt.Errorf("no way to write a %T", to)
	}
	if err != nil {
		return fmt.Errorf("column %s: %w", c.column.Name, err)
	}
	c.empty()
	return nil
}

// fits reports whether values can be kept in column without loss: the column's
// own type, or a whole number of fewer bits.
func fits(column contract.Column, kind arrow.DataType) bool {
	return arrow.TypeEqual(kind, column.Kind.Arrow()) || column.Kind == contract.Int && kind.ID() == arrow.INT32
}
