package normalise

import (
	"sync"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/bitutil"
	"github.com/apache/arrow/go/v17/arrow/decimal128"
	"github.com/apache/arrow/go/v17/arrow/memory"

	"thawline/internal/contract"
)

// slot is the value of one column in the row at hand. What is used depends on
// the column's kind: text for Text; f for Real; n for the rest (microseconds,
// days, thousandths, 0 or 1).
type slot struct {
	set  bool
	text []byte
	n    int64
	f    float64
}

// frame gathers rows column by column. It writes Arrow's own layout, which is
// a good deal quicker than a builder's call for each cell.
type frame struct {
	schema  *arrow.Schema
	columns []series
	rows    int
}

type series struct {
	kind        contract.Kind
	valid       []byte // one bit a row, as far as the last null
	nulls       int
	offsets     []int32
	bytes       []byte
	ints        []int64
	reals       []float64
	days        []int32
	thousandths []decimal128.Num
	bits        []byte
}

// schemas holds the Arrow schema of each table, so that frames of one file serve
// the next.
var schemas sync.Map

func schemaOf(t *contract.Table, columns []contract.Column) *arrow.Schema {
	schema, _ := schemas.LoadOrStore(t, contract.Schema(columns))
	return schema.(*arrow.Schema)
}

// frames holds used frames by schema, for use again: to grow one anew for each
// stretch of a file costs more than to fill it.
var frames struct {
	mutex sync.Mutex
	free  map[*arrow.Schema][]*frame
}

// sparePerSchema bounds the frames that are kept.
const sparePerSchema = 48

// newFrame gives an empty frame.
func newFrame(schema *arrow.Schema, columns []contract.Column) *frame {
	frames.mutex.Lock()
	defer frames.mutex.Unlock()
	if spare := frames.free[schema]; len(spare) > 0 {
		f := spare[len(spare)-1]
		frames.free[schema] = spare[:len(spare)-1]
		return f
	}
	f := &frame{schema: schema, columns: make([]series, len(columns))}
	for i, c := range columns {
		f.columns[i].kind = c.Kind
		if c.Kind == contract.Text {
			f.columns[i].offsets = []int32{0}
		}
	}
	return f
}

// recycle takes back a frame whose record nobody reads any more.
func (f *frame) recycle() {
	f.rows = 0
	for i := range f.columns {
		s := &f.columns[i]
		s.valid, s.nulls = s.valid[:0], 0
		if s.offsets != nil {
			s.offsets = s.offsets[:1]
		}
		s.bytes, s.ints, s.reals, s.days, s.thousandths = s.bytes[:0], s.ints[:0], s.reals[:0], s.days[:0], s.thousandths[:0]
		clear(s.bits)
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
func (f *frame) append(row []slot) {
	n := f.rows
	f.rows++
	for i := range f.columns {
		s, v := &f.columns[i], &row[i]
		if !v.set {
			// Rows before the first null, and those after the last, are valid.
			s.validUpTo(n/8 + 1)
			s.nulls++
			bitutil.ClearBit(s.valid, n)
		}
		switch s.kind {
		case contract.Text:
			if v.set {
				s.bytes = append(roomy(s.bytes, len(v.text)), v.text...)
			}
			s.offsets = append(roomy(s.offsets, 1), int32(len(s.bytes)))
		case contract.Real:
			s.reals = append(roomy(s.reals, 1), v.f)
		case contract.Date:
			s.days = append(roomy(s.days, 1), int32(v.n))
		case contract.Decimal:
			s.thousandths = append(roomy(s.thousandths, 1), decimal128.FromI64(v.n))
		case contract.Bool:
			if n/8 >= len(s.bits) {
				s.bits = append(s.bits, make([]byte, len(s.bits)+64)...)
			}
			if v.n != 0 {
				bitutil.SetBit(s.bits, n)
			}
		default:
			s.ints = append(roomy(s.ints, 1), v.n)
		}
	}
}

// validUpTo fills the bits of validity, eight rows a byte, up to n bytes.
func (s *series) validUpTo(n int) {
	s.valid = roomy(s.valid, n-len(s.valid))
	for len(s.valid) < n {
		s.valid = append(s.valid, 0xff)
	}
}

// record hands the rows over. The frame must not be used until nobody reads the
// record any more; then it may be recycled.
func (f *frame) record() arrow.Record {
	arrays := make([]arrow.Array, len(f.columns))
	for i := range f.columns {
		s := &f.columns[i]
		var valid *memory.Buffer
		if s.nulls > 0 {
			s.validUpTo((f.rows + 7) / 8)
			valid = memory.NewBufferBytes(s.valid)
		}
		buffers := []*memory.Buffer{valid}
		switch s.kind {
		case contract.Text:
			buffers = append(buffers, memory.NewBufferBytes(arrow.Int32Traits.CastToBytes(s.offsets)), memory.NewBufferBytes(s.bytes))
		case contract.Real:
			buffers = append(buffers, memory.NewBufferBytes(arrow.Float64Traits.CastToBytes(s.reals)))
		case contract.Date:
			buffers = append(buffers, memory.NewBufferBytes(arrow.Int32Traits.CastToBytes(s.days)))
		case contract.Decimal:
			buffers = append(buffers, memory.NewBufferBytes(arrow.Decimal128Traits.CastToBytes(s.thousandths)))
		case contract.Bool:
			buffers = append(buffers, memory.NewBufferBytes(s.bits))
		default:
			buffers = append(buffers, memory.NewBufferBytes(arrow.Int64Traits.CastToBytes(s.ints)))
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
