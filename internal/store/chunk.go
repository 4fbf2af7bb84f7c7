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
	// rows counts the rows, nulls those without a value.
	rows, nulls int
	// levels holds 1 for a value and 0 for a null; it begins with the first null.
	levels []int16
	// Of these, one holds the values without the nulls, by the column's kind.
	ints   []int64
	days   []int32
	reals  []float64
	truths []bool
	text   []byte
	ends   []int
	cells  []parquet.ByteArray
	// words holds a text column whose words repeat, nulls included.
	words   words
	repeats bool
}

// ones are the levels of a chunk without a null.
var ones = func() (all [RowGroup]int16) {
	for i := range all {
		all[i] = 1
	}
	return all
}()

// zeros are those of one without a value.
var zeros [RowGroup]int16

// grown makes room for n more values. A chunk that outgrows a small file gets
// room for a whole row group at once: to copy it at every doubling costs more
// than to fill it.
func grown[T any](values []T, n int) []T {
	if len(values)+n <= cap(values) {
		return values
	}
	room := len(values) + n
	if room > 4096 {
		room = max(room, RowGroup)
	}
	more := make([]T, len(values), room)
	copy(more, values)
	return more
}

// chunks holds used chunks for the next file, by what they hold: to grow them
// anew costs as much as to fill them.
var chunks struct {
	mutex sync.Mutex
	free  map[holds][]chunk
}

// holds says what a chunk has room for.
type holds struct {
	kind    contract.Kind
	repeats bool
}

// spareChunks bounds the chunks of a sort that are kept: those of a file of
// results with a dozen tests.
const spareChunks = 128

// newChunk gives an empty chunk for a column; repeats says that it holds words.
func newChunk(column contract.Column, repeats bool) chunk {
	chunks.mutex.Lock()
	defer chunks.mutex.Unlock()
	var c chunk
	sort := holds{column.Kind, repeats}
	if spare := chunks.free[sort]; len(spare) > 0 {
		c = spare[len(spare)-1]
		chunks.free[sort] = spare[:len(spare)-1]
	}
	c.column, c.repeats = column, repeats
	return c
}

// recycle takes back chunks that no writer uses any more.
func recycle(used []chunk) {
	chunks.mutex.Lock()
	defer chunks.mutex.Unlock()
	if chunks.free == nil {
		chunks.free = map[holds][]chunk{}
	}
	for i := range used {
		c := &used[i]
		c.empty()
		if sort := (holds{c.column.Kind, c.repeats}); len(chunks.free[sort]) < spareChunks {
			chunks.free[sort] = append(chunks.free[sort], *c)
		}
	}
}

// empty forgets the rows.
func (c *chunk) empty() {
	c.rows, c.nulls = 0, 0
	c.levels, c.ints, c.days, c.reals, c.truths = c.levels[:0], c.ints[:0], c.days[:0], c.reals[:0], c.truths[:0]
	c.text, c.ends, c.cells = c.text[:0], c.ends[:0], c.cells[:0]
	c.words.empty()
}

// add appends rows from up to, but not including, to.
func (c *chunk) add(values arrow.Array, from, to int) error {
	if err := c.level(values, from, to); err != nil {
		return err
	}
	switch a := values.(type) {
	case *array.String:
		if c.repeats {
			c.words.add(a, from, to)
		} else {
			c.addText(a, from, to)
		}
	case *array.Dictionary:
		c.addNumbered(a, from, to)
	case *array.Int64:
		c.ints = appendValues(c.ints, a.Int64Values(), a, from, to)
	case *array.Int32:
		c.ints = grown(c.ints, to-from)
		for i := from; i < to; i++ {
			if a.IsValid(i) {
				c.ints = append(c.ints, int64(a.Value(i)))
			}
		}
	case *array.Timestamp:
		c.ints = appendValues(c.ints, arrow.Int64Traits.CastFromBytes(arrow.TimestampTraits.CastToBytes(a.TimestampValues())), a, from, to)
	case *array.Decimal128:
		c.ints = grown(c.ints, to-from)
		for i := from; i < to; i++ {
			if a.IsNull(i) {
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
		begin := len(c.reals)
		c.reals = appendValues(c.reals, a.Float64Values(), a, from, to)
		for _, v := range c.reals[begin:] {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return fmt.Errorf("column %s: a value is not a finite number: give null where there is none", c.column.Name)
			}
		}
	case *array.Date32:
		c.days = appendValues(c.days, arrow.Int32Traits.CastFromBytes(arrow.Date32Traits.CastToBytes(a.Date32Values())), a, from, to)
	case *array.Boolean:
		c.truths = grown(c.truths, to-from)
		for i := from; i < to; i++ {
			if a.IsValid(i) {
				c.truths = append(c.truths, a.Value(i))
			}
		}
	}
	return nil
}

// level notes which rows have a value.
func (c *chunk) level(values arrow.Array, from, to int) error {
	nulls := values.NullN() > 0
	if nulls && c.column.Required {
		for i := from; i < to; i++ {
			if values.IsNull(i) {
				return fmt.Errorf("column %s: a value is missing where the contract requires one: reject the row, or give the value, before it is written", c.column.Name)
			}
		}
	}
	if c.column.Required || !nulls && c.nulls == 0 {
		c.rows += to - from
		return nil
	}
	c.levels = grown(c.levels, c.rows-len(c.levels)+to-from)
	c.levels = append(c.levels, ones[:c.rows-len(c.levels)]...)
	switch {
	case !nulls:
		c.levels = append(c.levels, ones[:to-from]...)
	case values.NullN() == values.Len():
		c.levels = append(c.levels, zeros[:to-from]...)
		c.nulls += to - from
	default:
		for i := from; i < to; i++ {
			if values.IsNull(i) {
				c.levels = append(c.levels, 0)
				c.nulls++
			} else {
				c.levels = append(c.levels, 1)
			}
		}
	}
	c.rows += to - from
	return nil
}

// appendValues appends the values that are not null of rows from up to to.
func appendValues[T any](into, values []T, a arrow.Array, from, to int) []T {
	into = grown(into, to-from)
	switch a.NullN() {
	case 0:
		return append(into, values[from:to]...)
	case a.Len():
		return into
	}
	for i := from; i < to; i++ {
		if a.IsValid(i) {
			into = append(into, values[i])
		}
	}
	return into
}

// addText appends texts of a column whose words seldom repeat.
func (c *chunk) addText(a *array.String, from, to int) {
	c.ends = grown(c.ends, to-from)
	if n := a.ValueOffset(to) - a.ValueOffset(from); len(c.text)+n > cap(c.text) && len(c.ends) > 4096 {
		// As many bytes a row as so far, for the whole row group.
		room := (len(c.text)/len(c.ends) + 1) * RowGroup
		c.text = append(make([]byte, 0, max(room, len(c.text)+n)), c.text...)
	}
	for i := from; i < to; i++ {
		if a.IsValid(i) {
			c.text = append(c.text, a.Value(i)...)
			c.ends = append(c.ends, len(c.text))
		}
	}
}

// addNumbered appends words that come as numbers of a dictionary.
func (c *chunk) addNumbered(a *array.Dictionary, from, to int) {
	dictionary := a.Dictionary().(*array.String)
	if c.repeats {
		c.words.addNumbered(dictionary, a, from, to)
		return
	}
	for i := from; i < to; i++ {
		if a.IsValid(i) {
			c.text = append(c.text, dictionary.Value(a.GetValueIndex(i))...)
			c.ends = append(c.ends, len(c.text))
		}
	}
}

// decimalLimit is the first whole number with a digit too many.
const decimalLimit = 1_000_000_000_000_000_000 // 10^contract.DecimalPrecision

// flush writes what was gathered as one column chunk and forgets it.
func (c *chunk) flush(to file.ColumnChunkWriter) error {
	var err error
	levels := c.levels
	switch {
	case c.column.Required:
		levels = nil
	case c.nulls == 0:
		levels = ones[:c.rows]
	}
	switch w := to.(type) {
	case *file.ByteArrayColumnChunkWriter:
		if c.repeats {
			err = c.words.flush(w, levels, c.nulls)
			break
		}
		c.cells = grown(c.cells[:0], len(c.ends))
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
// own type, a whole number of fewer bits, or numbered texts.
func fits(column contract.Column, kind arrow.DataType) bool {
	if numbered, ok := kind.(*arrow.DictionaryType); ok {
		return column.Kind == contract.Text && numbered.IndexType.ID() == arrow.INT32 && numbered.ValueType.ID() == arrow.STRING
	}
	return arrow.TypeEqual(kind, column.Kind.Arrow()) || column.Kind == contract.Int && kind.ID() == arrow.INT32
}
