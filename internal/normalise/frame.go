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
	valid       []byte // one bit a row, made at the first null
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
		// What is kept of validity and of truths is as if it were new.
		s.valid, s.nulls = nil, 0
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

// append adds a row; nothing of it is kept.
func (f *frame) append(row []slot) {
	n := f.rows
	f.rows++
	for i := range f.columns {
		s, v := &f.columns[i], &row[i]
		if !v.set {
			if s.valid == nil {
				s.valid = make([]byte, n/8+64)
				for j := range s.valid {
					s.valid[j] = 0xff
				}
			}
			s.nulls++
		}
		if s.valid != nil {
			if n/8 >= len(s.valid) {
				more := make([]byte, len(s.valid))
				for j := range more {
					more[j] = 0xff
				}
				s.valid = append(s.valid, more...)
			}
			if !v.set {
				bitutil.ClearBit(s.valid, n)
			}
		}
		switch s.kind {
		case contract.Text:
			if v.set {
				s.bytes = append(s.bytes, v.text...)
			}
			s.offsets = append(s.offsets, int32(len(s.bytes)))
		case contract.Real:
			s.reals = append(s.reals, v.f)
		case contract.Date:
			s.days = append(s.days, int32(v.n))
		case contract.Decimal:
			s.thousandths = append(s.thousandths, decimal128.FromI64(v.n))
		case contract.Bool:
			if n/8 >= len(s.bits) {
				s.bits = append(s.bits, make([]byte, len(s.bits)+64)...)
			}
			if v.n != 0 {
				bitutil.SetBit(s.bits, n)
			}
		default:
			s.ints = append(s.ints, v.n)
		}
	}
}

// record hands the rows over. The frame must not be used until nobody reads the
// record any more; then it may be recycled.
func (f *frame) record() arrow.Record {
	arrays := make([]arrow.Array, len(f.columns))
	for i := range f.columns {
		s := &f.columns[i]
		var valid *memory.Buffer
		if s.valid != nil {
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
