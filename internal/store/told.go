package store

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"io"
	"math/bits"
	"os"
	"slices"
	"sort"
	"sync"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
)

// toldName is the file of a reading that says of which numbers it tells.
const toldName = "told.bin"

// Told gathers of which patients and units a reading tells, as hashes of their
// numbers: who looks for the rows of a few numbers need not look through all
// readings. Two numbers may have one hash, so that a reading may seem to tell of
// a number and not do so; never the other way round.
type Told struct {
	patients, units gathered
}

// toldColumns are the columns that hold such numbers.
const patientColumn, unitColumn = "patient_id", "unit_no"

// Add gathers the numbers of rows.
func (t *Told) Add(record arrow.Record) {
	for i, f := range record.Schema().Fields() {
		switch f.Name {
		case patientColumn:
			t.patients.addAll(record.Column(i))
		case unitColumn:
			t.units.addAll(record.Column(i))
		}
	}
}

// bytes is the file's text: for the patients and then for the units how many
// hashes there are, and the hashes in order; then the CRC-32C of all that.
func (t *Told) bytes() []byte {
	var text []byte
	for _, g := range []*gathered{&t.patients, &t.units} {
		numbers := g.sorted()
		text = binary.LittleEndian.AppendUint64(text, uint64(len(numbers)))
		for _, n := range numbers {
			text = append(text, byte(n>>32), byte(n>>24), byte(n>>16), byte(n>>8), byte(n))
		}
	}
	return binary.LittleEndian.AppendUint32(text, crc32.Checksum(text, castagnoli))
}

// castagnoli is the polynomial of CRC-32C, which processors compute ten times as fast
// as SHA-256: a month's update looks through the notes of all readings.
var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// checkBytes is how long the checksum at the end is.
const checkBytes = 4

// hashBytes is how long a hash is: with 40 bits, a million numbers that are
// looked for among ten million find ten that are not there.
const hashBytes = 5

// hashOf is the hash of a number: FNV-1a, whose bits are mixed once more. It is
// written to disk: another one needs another toldName.
func hashOf[T string | []byte](number T) uint64 {
	h := uint64(14695981039346656037)
	for i := range len(number) {
		h = (h ^ uint64(number[i])) * 1099511628211
	}
	h = (h ^ h>>32) * 0x9e3779b97f4a7c15
	return h >> (64 - 8*hashBytes)
}

// gathered is a set of hashes: a table of places, each at most half full. 0
// marks a free place.
type gathered struct {
	places []uint64
	count  int
	zero   bool
}

// addAll adds the hashes of a column's texts.
func (g *gathered) addAll(column arrow.Array) {
	switch c := column.(type) {
	case *array.String:
		for i := range c.Len() {
			if c.IsValid(i) {
				g.add(hashOf(c.Value(i)))
			}
		}
	case *array.Dictionary:
		words, found := c.Dictionary().(*array.String)
		for i := range c.Len() {
			if found && c.IsValid(i) {
				g.add(hashOf(words.Value(c.GetValueIndex(i))))
			}
		}
	}
}

func (g *gathered) add(hash uint64) {
	if hash == 0 {
		g.zero = true
		return
	}
	if 2*(g.count+1) > len(g.places) {
		old := g.places
		g.places = make([]uint64, max(1<<10, 4*len(old)))
		g.count = 0
		for _, h := range old {
			if h != 0 {
				g.add(h)
			}
		}
	}
	for at := hash & uint64(len(g.places)-1); ; at = (at + 1) & uint64(len(g.places)-1) {
		switch g.places[at] {
		case hash:
			return
		case 0:
			g.places[at] = hash
			g.count++
			return
		}
	}
}

// sorted lists the hashes in order.
func (g *gathered) sorted() []uint64 {
	all := make([]uint64, 0, g.count+1)
	if g.zero {
		all = append(all, 0)
	}
	for _, h := range g.places {
		if h != 0 {
			all = append(all, h)
		}
	}
	slices.Sort(all)
	return all
}

// Numbers are those of patients or of units for which somebody looks, as hashes.
type Numbers struct {
	gathered
	// inOrder are the hashes once somebody has looked for them, and beginnings a
	// set of how they begin: shift is how many bits of them are left out.
	inOrder    []uint64
	beginnings []uint64
	shift      int
}

// Add adds a number.
func (n *Numbers) Add(number string) {
	n.add(hashOf(number))
	n.inOrder = nil
}

// AddAll adds the texts of a column.
func (n *Numbers) AddAll(column arrow.Array) {
	n.addAll(column)
	n.inOrder = nil
}

// Order makes ready for Tells, which several may then call at once.
func (n *Numbers) Order() {
	if n.inOrder != nil {
		return
	}
	n.inOrder = n.sorted()
	// Of what is looked through, but one in sixteen begins as one of these.
	width := min(max(6, bits.Len(uint(16*len(n.inOrder)))), 8*hashBytes)
	n.shift = 8*hashBytes - width
	n.beginnings = make([]uint64, 1<<(width-6))
	for _, h := range n.inOrder {
		at := h >> n.shift
		n.beginnings[at>>6] |= 1 << (at & 63)
	}
}

// has says that a hash is among them.
func (n *Numbers) has(hash uint64) bool {
	at := hash >> n.shift
	if n.beginnings[at>>6]&(1<<(at&63)) == 0 {
		return false
	}
	_, found := slices.BinarySearch(n.inOrder, hash)
	return found
}

// Tells says whether the reading may tell of any of some patients and of any of
// some units, either of which may be nil. A reading of which nobody noted its
// numbers, or whose note is damaged, may tell of all.
func (r *Reading) Tells(patients, units *Numbers) (ofPatients, ofUnits bool) {
	// A month's update looks through a hundred megabytes of notes: one after another
	// they lie in the same memory.
	text := notes.Get().(*[]byte)
	defer notes.Put(text)
	lists, err := r.toldNumbers(text)
	if err != nil {
		return patients != nil, units != nil
	}
	return lists[0].anyOf(patients), lists[1].anyOf(units)
}

// notes is memory for what notes of numbers hold.
var notes = sync.Pool{New: func() any { return new([]byte) }}

// toldNumbers reads the reading's note of its numbers into memory that it may make
// larger.
func (r *Reading) toldNumbers(memory *[]byte) (lists [2]packed, err error) {
	if r.Numbers == nil {
		return lists, errors.New("its numbers were not noted")
	}
	file, err := os.Open(r.Numbers.Path)
	if err != nil {
		return lists, err
	}
	defer file.Close()
	// One byte more, to see that the file is no longer than it was.
	if wanted := int(r.Numbers.Bytes) + 1; cap(*memory) < wanted {
		*memory = make([]byte, wanted)
	}
	n, err := io.ReadFull(file, (*memory)[:r.Numbers.Bytes+1])
	if err != io.ErrUnexpectedEOF || int64(n) != r.Numbers.Bytes {
		return lists, errChanged
	}
	text := (*memory)[:n]
	whole := text
	for i := range lists {
		if len(text) < 8 {
			return lists, errChanged
		}
		length := binary.LittleEndian.Uint64(text)
		text = text[8:]
		if length > uint64(len(text)/hashBytes) {
			return lists, errChanged
		}
		lists[i], text = packed(text[:length*hashBytes]), text[length*hashBytes:]
	}
	sound := len(text) == checkBytes && crc32.Checksum(whole[:len(whole)-checkBytes], castagnoli) == binary.LittleEndian.Uint32(text)
	if !sound && (len(text) > 0 || SHA256(whole) != r.Numbers.SHA256) {
		// A note of an older program ends without a checksum.
		return lists, errChanged
	}
	return lists, nil
}

// packed is a list of hashes in order, as it lies in the file.
type packed []byte

// anyOf says that one of the numbers is in the list.
func (p packed) anyOf(n *Numbers) bool {
	if n == nil {
		return false
	}
	n.Order()
	length := len(p) / hashBytes
	if len(n.inOrder)*bits.Len(uint(length)) < length/4 {
		// Of few numbers each is looked for by itself.
		return slices.ContainsFunc(n.inOrder, func(hash uint64) bool {
			at := sort.Search(length, func(i int) bool { return p.at(i) >= hash })
			return at < length && p.at(at) == hash
		})
	}
	for ; len(p) >= hashBytes; p = p[hashBytes:] {
		if n.has(p.at(0)) {
			return true
		}
	}
	return false
}

// at is the hash at a place.
func (p packed) at(i int) uint64 {
	p = p[i*hashBytes : i*hashBytes+hashBytes]
	return uint64(p[0])<<32 | uint64(p[1])<<24 | uint64(p[2])<<16 | uint64(p[3])<<8 | uint64(p[4])
}
