package normalise

import (
	"math/bits"
	"sync"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/bitutil"
	"github.com/apache/arrow/go/v17/arrow/decimal128"
	"github.com/apache/arrow/go/v17/arrow/memory"

	"thawline/internal/contract"
)

// slot is the value of one column in the row at hand. What is used depends on
// the column's kind: text for Text, but n where its words are numbered; f for
// Real; n for the rest (microseconds, days, thousandths, 0 or 1).
type slot struct {
	text []byte
	n    int64
	f    float64
}

// row is the row at hand: which columns have a value, a bit each, and the values.
// Without its bit a slot means nothing.
type row struct {
	filled uint64
	slots  []slot
}

// has reports whether a column has a value.
func (r *row) has(column int) bool { return r.filled>>column&1 != 0 }

// The following give a column a value, by its kind.

func (r *row) putText(column int, text []byte) {
	r.filled |= 1 << column
	r.slots[column].text = text
}

func (r *row) putInt(column int, n int64) {
	r.filled |= 1 << column
	r.slots[column].n = n
}

func (r *row) putReal(column int, f float64) {
	r.filled |= 1 << column
	r.slots[column].f = f
}

// take takes a column's value away.
func (r *row) take(column int) { r.filled &^= 1 << column }

// frame gathers rows column by column. It writes Arrow's own layout, which is
// a good deal quicker than a builder's call for each cell.
type frame struct {
	schema  *arrow.Schema
	columns []series
	rows    int
	// room is how many rows fit into the columns of values of one size.
	room int
	// full holds the columns that every row has filled, a bit each.
	full uint64
	// words holds, for each column whose words are numbered, the words; nil elsewhere.
	words []arrow.Array
}

// series is one column of a frame. Rows without a value take no time of their
// own: they are made up for by the next that has one.
type series struct {
	kind     contract.Kind
	numbered bool
	// rows is, of a column that is not full, how many rows it has so far, nulls
	// how many of them are without a value.
	rows, nulls int
	// valid holds one bit a row, from the first row without a value on.
	valid []byte
	// Of these, one holds the values, as far as the frame has room. What stands in
	// a row without a value means nothing.
	numbers     []int32
	ints        []int64
	reals       []float64
	days        []int32
	thousandths []decimal128.Num
	bits        []byte
	// Texts stand one after the other.
	offsets []int32
	bytes   []byte
}

// schemas holds the Arrow schema of each table, so that frames of one file serve
// the next.
var schemas sync.Map

func schemaOf(t *contract.Table, columns []contract.Column) *arrow.Schema {
	if schema, known := schemas.Load(t); known {
		return schema.(*arrow.Schema)
	}
	fields := contract.Schema(columns).Fields()
	for i, c := range columns {
		if numbered(t, c) {
			fields[i].Type = &arrow.DictionaryType{IndexType: arrow.PrimitiveTypes.Int32, ValueType: arrow.BinaryTypes.String}
		}
	}
	schema, _ := schemas.LoadOrStore(t, arrow.NewSchema(fields, nil))
	return schema.(*arrow.Schema)
}

// numbered says of a column that its words travel as numbers of an Arrow
// dictionary: few words, and of a table that has millions of rows.
func numbered(t *contract.Table, c contract.Column) bool {
	return c.Kind == contract.Text && (c.Name == "source_file" && t != contract.Problems || t == contract.Labs && c.Codes != nil)
}

// frames holds used frames by schema, for use again: to grow one anew for each
// stretch of a file costs more than to fill it.
var frames struct {
	mutex sync.Mutex
	free  map[*arrow.Schema][]*frame
}

// sparePerSchema bounds the frames that are kept.
const sparePerSchema = 48

// newFrame gives an empty frame. words holds the words of numbered columns.
func newFrame(schema *arrow.Schema, columns []contract.Column, words []arrow.Array) *frame {
	frames.mutex.Lock()
	defer frames.mutex.Unlock()
	if spare := frames.free[schema]; len(spare) > 0 {
		f := spare[len(spare)-1]
		frames.free[schema] = spare[:len(spare)-1]
		f.words = words
		return f
	}
	if len(columns) > 64 {
		panic("normalise: a table of more columns than a row has bits")
	}
	f := &frame{schema: schema, columns: make([]series, len(columns)), words: words}
	for i, c := range columns {
		f.columns[i].kind = c.Kind
		f.columns[i].numbered = schema.Field(i).Type.ID() == arrow.DICTIONARY
	}
	return f
}

// recycle takes back a frame whose record nobody reads any more.
func (f *frame) recycle() {
	f.rows, f.full, f.words = 0, 0, nil
	for i := range f.columns {
		s := &f.columns[i]
		s.rows, s.nulls, s.valid, s.bytes = 0, 0, s.valid[:0], s.bytes[:0]
	}
	frames.mutex.Lock()
	defer frames.mutex.Unlock()
	if frames.free == nil {
		frames.free = map[*arrow.Schema][]*frame{}
	}
	if len(frames.free[f.schema]) < sparePerSchema {
		frames.free[f.schema] = append(frames.free[f.schema], f)
	}
}

// roomy gives room for n more values: three times as much as there is, since
// append alone would copy a long column many times over on its way.
func roomy[T any](values []T, n int) []T {
	if len(values)+n <= cap(values) {
		return values
	}
	more := make([]T, len(values), max(1024, 3*cap(values), len(values)+n))
	copy(more, values)
	return more
}

// append adds a row; nothing of it is kept.
func (f *frame) append(r *row) {
	n := f.rows
	if n == f.room {
		f.grow()
	}
	if n == 0 {
		f.full = r.filled
	}
	for left := f.full &^ r.filled; left != 0; left &= left - 1 {
		f.columns[bits.TrailingZeros64(left)].rows = n
	}
	f.full &= r.filled
	f.rows++
	for left := r.filled; left != 0; left &= left - 1 {
		i := bits.TrailingZeros64(left)
		s, v := &f.columns[i], &r.slots[i]
		if f.full>>i&1 == 0 {
			if s.rows < n {
				s.miss(n)
			}
			s.rows++
			if len(s.valid) > 0 {
				s.valid = upTo(s.valid, n/8+1)
				bitutil.SetBit(s.valid, n)
			}
		}
		switch s.kind {
		case contract.Text:
			if s.numbered {
				s.numbers[n] = int32(v.n)
				continue
			}
			s.bytes = append(roomy(s.bytes, len(v.text)), v.text...)
			s.offsets[n+1] = int32(len(s.bytes))
		case contract.Real:
			s.reals[n] = v.f
		case contract.Date:
			s.days[n] = int32(v.n)
		case contract.Decimal:
			s.thousandths[n] = decimal128.FromI64(v.n)
		case contract.Bool:
			bitutil.SetBitTo(s.bits, n, v.n != 0)
		default:
			s.ints[n] = v.n
		}
	}
}

// grow makes room for more rows.
func (f *frame) grow() {
	f.room = max(1024, 2*f.room)
	for i := range f.columns {
		s := &f.columns[i]
		switch s.kind {
		case contract.Text:
			if s.numbered {
				s.numbers = upTo(s.numbers, f.room)
			} else {
				s.offsets = upTo(s.offsets, f.room+1)
			}
		case contract.Real:
			s.reals = upTo(s.reals, f.room)
		case contract.Date:
			s.days = upTo(s.days, f.room)
		case contract.Decimal:
			s.thousandths = upTo(s.thousandths, f.room)
		case contract.Bool:
			s.bits = upTo(s.bits, f.room/8)
		default:
			s.ints = upTo(s.ints, f.room)
		}
	}
}

// miss makes up for the rows without a value that the column has not seen, so
// that it has n.
func (s *series) miss(n int) {
	if len(s.valid) == 0 {
		s.valid = upTo(s.valid, (s.rows+7)/8)
		bitutil.SetBitsTo(s.valid, 0, int64(s.rows), true)
	}
	s.valid = upTo(s.valid, (n+7)/8)
	if s.kind == contract.Text && !s.numbered {
		for i := s.rows; i < n; i++ {
			s.offsets[i+1] = int32(len(s.bytes))
		}
	}
	s.nulls += n - s.rows
	s.rows = n
}

// upTo brings values to n with zeroes, where there are fewer.
func upTo[T any](values []T, n int) []T {
	if len(values) >= n {
		return values
	}
	values = roomy(values, n-len(values))
	from := len(values)
	values = values[:n]
	clear(values[from:])
	return values
}

// record hands the rows over. The frame must not be used until nobody reads the
// record any more; then it may be recycled.
func (f *frame) record() arrow.Record {
	arrays := make([]arrow.Array, len(f.columns))
	for i := range f.columns {
		s := &f.columns[i]
		if f.full>>i&1 == 0 && s.rows < f.rows {
			s.miss(f.rows)
		}
		var valid *memory.Buffer
		if s.nulls > 0 {
			valid = memory.NewBufferBytes(s.valid)
		}
		buffers := []*memory.Buffer{valid}
		if s.numbered {
			buffers = append(buffers, memory.NewBufferBytes(arrow.Int32Traits.CastToBytes(s.numbers[:f.rows])))
			data := array.NewDataWithDictionary(f.schema.Field(i).Type, f.rows, buffers, s.nulls, 0, f.words[i].Data().(*array.Data))
			arrays[i] = array.NewDictionaryData(data)
			data.Release()
			continue
		}
		switch s.kind {
		case contract.Text:
			offsets := []int32{0}
			if f.rows > 0 {
				offsets = s.offsets[:f.rows+1]
			}
			buffers = append(buffers, memory.NewBufferBytes(arrow.Int32Traits.CastToBytes(offsets)), memory.NewBufferBytes(s.bytes))
		case contract.Real:
			buffers = append(buffers, memory.NewBufferBytes(arrow.Float64Traits.CastToBytes(s.reals[:f.rows])))
		case contract.Date:
			buffers = append(buffers, memory.NewBufferBytes(arrow.Int32Traits.CastToBytes(s.days[:f.rows])))
		case contract.Decimal:
			buffers = append(buffers, memory.NewBufferBytes(arrow.Decimal128Traits.CastToBytes(s.thousandths[:f.rows])))
		case contract.Bool:
			buffers = append(buffers, memory.NewBufferBytes(s.bits[:(f.rows+7)/8]))
		default:
			buffers = append(buffers, memory.NewBufferBytes(arrow.Int64Traits.CastToBytes(s.ints[:f.rows])))
		}
		data := array.NewData(f.schema.Field(i).Type, f.rows, buffers, nil, s.nulls, 0)
		arrays[i] = array.MakeFromData(data)
		data.Release()
	}
	record := array.NewRecord(f.schema, arrays, int64(f.rows))
	for _, a := range arrays {
		a.Release()
	}
	return record
}
