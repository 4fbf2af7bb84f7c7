package store

import (
	"bytes"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/bitutil"
	"github.com/apache/arrow/go/v17/arrow/memory"
	"github.com/apache/arrow/go/v17/parquet/file"
	"github.com/apache/arrow/go/v17/parquet/metadata"
)

// words gathers a text column whose words come again and again: each different
// word once, in the order of first appearance, and a number a row. The Parquet
// library would look every cell up in a table of its own, and box it for that.
type words struct {
	numbers map[string]int32
	text    []byte
	ends    []int32
	// rows holds the word's number of every row, nulls included (as 0).
	rows []int32
	// last is the number of the word that came last: most rows say it again. near are
	// those of words that came before, by length and ends: most others say one of those.
	last int32
	near [64]int32
}

// nearBy is the place of a word among those near.
func nearBy(text []byte) int {
	n := len(text)
	if n == 0 {
		return 0
	}
	return (n + 5*int(text[0]) + 11*int(text[n-1])) & 63
}

// begin makes the column ready for its first row.
func (w *words) begin() {
	w.numbers, w.last = map[string]int32{}, -1
	w.forgetNear()
}

func (w *words) forgetNear() {
	for i := range w.near {
		w.near[i] = -1
	}
}

// empty forgets the rows.
func (w *words) empty() {
	clear(w.numbers)
	w.text, w.ends, w.rows, w.last = w.text[:0], w.ends[:0], w.rows[:0], -1
	w.forgetNear()
}

// word gives the text of number n.
func (w *words) word(n int32) []byte {
	if n == 0 {
		return w.text[:w.ends[0]]
	}
	return w.text[w.ends[n-1]:w.ends[n]]
}

// number gives the number of a word, which is added where it is new.
func (w *words) number(text []byte) int32 {
	if w.last >= 0 && bytes.Equal(w.word(w.last), text) {
		return w.last
	}
	at := nearBy(text)
	if n := w.near[at]; n >= 0 && bytes.Equal(w.word(n), text) {
		w.last = n
		return n
	}
	n, known := w.numbers[string(text)]
	if !known {
		n = int32(len(w.ends))
		w.text = append(w.text, text...)
		w.ends = append(w.ends, int32(len(w.text)))
		w.numbers[string(text)] = n
	}
	w.last, w.near[at] = n, n
	return n
}

// add appends rows from up to, but not including, to.
func (w *words) add(a *array.String, from, to int) {
	if w.numbers == nil {
		w.begin()
	}
	offsets, text, nulls := a.ValueOffsets(), a.ValueBytes(), a.NullN() > 0
	begin := int32(0)
	if len(offsets) > 0 {
		begin = offsets[0] // ValueBytes begins where the slice does.
	}
	w.rows = grown(w.rows, to-from)
	for i := from; i < to; i++ {
		if nulls && a.IsNull(i) {
			w.rows = append(w.rows, 0)
			continue
		}
		w.rows = append(w.rows, w.number(text[offsets[i]-begin:offsets[i+1]-begin]))
	}
}

// addNumbered appends rows from up to, but not including, to, whose words are
// numbers of a dictionary. The words get their numbers here in the order in which
// they first come in a row, as if they had come as text.
func (w *words) addNumbered(dictionary *array.String, a *array.Dictionary, from, to int) {
	if w.numbers == nil {
		w.begin()
	}
	w.rows = grown(w.rows, to-from)
	if a.NullN() == a.Len() {
		w.rows = append(w.rows, make([]int32, to-from)...)
		return
	}
	numbers := make([]int32, dictionary.Len())
	for i := range numbers {
		numbers[i] = -1
	}
	indices, nulls := a.Indices().(*array.Int32).Int32Values(), a.NullN() > 0
	for i := from; i < to; i++ {
		if nulls && a.IsNull(i) {
			w.rows = append(w.rows, 0)
			continue
		}
		n := numbers[indices[i]]
		if n < 0 {
			n = w.number([]byte(dictionary.Value(int(indices[i]))))
			numbers[indices[i]] = n
		}
		w.rows = append(w.rows, n)
	}
}

// flush writes the rows as one column chunk. levels are those of the rows, nil
// for a required column.
func (w *words) flush(to *file.ByteArrayColumnChunkWriter, levels []int16, nulls int) error {
	if w.numbers == nil || len(w.ends) == 0 {
		_, err := to.WriteBatch(nil, levels, nil)
		return err
	}
	offsets := make([]int32, 1, len(w.ends)+1)
	offsets = append(offsets, w.ends...)
	data := array.NewData(arrow.BinaryTypes.String, len(w.ends), []*memory.Buffer{nil, memory.NewBufferBytes(arrow.Int32Traits.CastToBytes(offsets)), memory.NewBufferBytes(w.text)}, nil, 0, 0)
	dictionary := array.NewStringData(data)
	data.Release()
	defer dictionary.Release()
	if err := to.CurrentEncoder().(interface{ PutDictionary(arrow.Array) error }).PutDictionary(dictionary); err != nil {
		return err
	}
	// A chunk of words is one page: its statistics are those of the words.
	if s, ok := to.PageStatistics().(*metadata.ByteArrayStatistics); ok {
		low, high := w.word(0), w.word(0)
		for n := range int32(len(w.ends)) {
			if word := w.word(n); bytes.Compare(word, low) < 0 {
				low = word
			} else if bytes.Compare(word, high) > 0 {
				high = word
			}
		}
		s.IncNulls(int64(nulls))
		s.IncNumValues(int64(len(w.rows) - nulls))
		s.SetMinMax(low, high)
	}
	var valid *memory.Buffer
	if nulls > 0 {
		bits := make([]byte, bitutil.BytesForBits(int64(len(levels))))
		for i, level := range levels {
			if level != 0 {
				bitutil.SetBit(bits, i)
			}
		}
		valid = memory.NewBufferBytes(bits)
	}
	numbered := array.NewData(arrow.PrimitiveTypes.Int32, len(w.rows), []*memory.Buffer{valid, memory.NewBufferBytes(arrow.Int32Traits.CastToBytes(w.rows))}, nil, nulls, 0)
	rows := array.NewInt32Data(numbered)
	numbered.Release()
	defer rows.Release()
	return to.WriteDictIndices(rows, levels, nil)
}
