package figure

import (
	"cmp"
	"iter"
	"math/bits"
	"slices"
)

// vector is a sparse vector over a prime field, in order of its coordinates.
// Coefficients are small whole numbers, so that what depends on each other over the
// fractions does so here too; by a rare accident of the prime two vectors may depend
// on each other here alone, and then a cell too many is hidden, never one too few.
type vector []term

type term struct {
	at int32
	x  uint32
}

// times is x·y of the field.
func times(x, y uint32) uint32 { return uint32(uint64(x) * uint64(y) % prime) }

// prime is 2^31 − 1: a product of two coefficients fits 64 bits.
const prime = 1<<31 - 1

// unit is the sum of the unit vectors of some coordinates.
func unit(at ...int) vector {
	v := make(vector, len(at))
	for k, i := range at {
		v[k] = term{int32(i), 1}
	}
	slices.SortFunc(v, func(a, b term) int { return cmp.Compare(a.at, b.at) })
	return v
}

// less is v − w.
func (v vector) less(w vector) vector { return v.plus(w, prime-1) }

// plus is v + x·w.
func (v vector) plus(w vector, x uint32) vector {
	return v.plusInto(make(vector, 0, len(v)+len(w)), w, x)
}

// plusInto is plus, written behind sum.
func (v vector) plusInto(sum, w vector, x uint32) vector {
	for len(v) > 0 && len(w) > 0 {
		switch {
		case v[0].at < w[0].at:
			sum, v = append(sum, v[0]), v[1:]
		case v[0].at > w[0].at:
			sum, w = append(sum, term{w[0].at, times(x, w[0].x)}), w[1:]
		default:
			if both := (v[0].x + times(x, w[0].x)) % prime; both != 0 {
				sum = append(sum, term{v[0].at, both})
			}
			v, w = v[1:], w[1:]
		}
	}
	sum = append(sum, v...)
	for _, t := range w {
		sum = append(sum, term{t.at, times(x, t.x)})
	}
	return sum
}

// find is the coefficient of a coordinate, 0 for none.
func (v vector) find(at int32) uint32 {
	if i, found := slices.BinarySearchFunc(v, at, func(t term, at int32) int { return cmp.Compare(t.at, at) }); found {
		return v[i].x
	}
	return 0
}

// holds says that every coordinate of w is one of v.
func (v vector) holds(w vector) bool {
	return !slices.ContainsFunc(w, func(t term) bool { return v.find(t.at) == 0 })
}

// meets says that v and w have a coordinate in common.
func (v vector) meets(w vector) bool {
	return slices.ContainsFunc(w, func(t term) bool { return v.find(t.at) != 0 })
}

// inverse is 1/x, by Fermat's little theorem.
func inverse(x uint32) uint32 {
	result := uint32(1)
	for n := prime - 2; n > 0; n >>= 1 {
		if n&1 == 1 {
			result = times(result, x)
		}
		x = times(x, x)
	}
	return result
}

// span is what can be worked out from vectors by adding and subtracting. Its
// rows are reduced fully: no row holds the pivot of another.
type span struct {
	rows []row
	// at says which row has a pivot.
	at map[int32]int
	// holders are, by coordinate, the short rows that hold it or held it, and mind those
	// of the guarded; longs are the rows that are long.
	holders, mind notes
	longs         map[int]bool
	// guarded are what is left of the guarded vectors after the rows.
	guarded []vector
	// groups says what a row may not tell; nil for no matter what.
	groups *groups
	// buffers take turns in holding what is left of a vector; table holds it by
	// coordinate, and is all 0 between.
	buffers [2]vector
	table   []uint32
}

func newSpan(rows []vector) *span {
	s := &span{at: map[int32]int{}, longs: map[int]bool{}}
	for _, row := range rows {
		s.add(row)
	}
	return s
}

// guard takes in what nobody may work out, but for what follows already.
func (s *span) guard(guarded []vector) {
	for _, g := range guarded {
		if rest := s.reduced(g); len(rest) > 0 {
			s.guarded = append(s.guarded, slices.Clone(rest))
			s.mind.note(len(s.guarded)-1, rest)
		}
	}
}

// notes are, by coordinate, the numbers of vectors that hold it, as bits.
type notes [][]uint64

// note writes down that the vector of a number holds what v holds.
func (n *notes) note(number int, v vector) {
	if last := len(v) - 1; last >= 0 && int(v[last].at) >= len(*n) {
		*n = append(*n, make(notes, int(v[last].at)+1-len(*n))...)
	}
	for _, t := range v {
		bits := (*n)[t.at]
		for len(bits) <= number/64 {
			bits = append(bits, 0)
		}
		bits[number/64] |= 1 << (number % 64)
		(*n)[t.at] = bits
	}
}

// of yields the numbers of a coordinate.
func (n notes) of(at int32) iter.Seq[int] {
	return func(yield func(int) bool) {
		if int(at) >= len(n) {
			return
		}
		for i, word := range n[at] {
			for ; word != 0; word &= word - 1 {
				if !yield(64*i + bits.TrailingZeros64(word)) {
					return
				}
			}
		}
	}
}

// watch takes in what no row may tell from now on.
func (s *span) watch(g *groups) {
	s.groups = g
	for i := range s.rows {
		v := s.rows[i].vector()
		s.put(i, newRow(v, len(s.table), g), v)
	}
}

// once says that a vector counts everybody of it once.
func (v vector) once() bool {
	return !slices.ContainsFunc(v, func(t term) bool { return t.x != 1 })
}

// vectors are the rows.
func (s *span) vectors() []vector {
	all := make([]vector, len(s.rows))
	for i := range s.rows {
		all[i] = s.rows[i].vector()
	}
	return all
}

// reduced is what is left of v after the rows, until it is asked again.
func (s *span) reduced(v vector) vector {
	if n := len(v); n > 0 && int(v[n-1].at) >= len(s.table) {
		s.table = append(s.table, make([]uint32, int(v[n-1].at)+1-len(s.table))...)
	}
	rest, work, long := v, len(v), false
	for _, t := range v {
		if i, found := s.at[t.at]; found {
			work, long = work+s.rows[i].terms(), long || s.rows[i].long != nil
		}
	}
	if work == len(v) {
		return v
	}
	if long || work > longTerms {
		return s.reducedByTable(v)
	}
	for _, t := range v {
		// No row holds the pivot of another, so that this one is still as in v.
		if i, found := s.at[t.at]; found {
			s.buffers[0] = rest.plusInto(s.buffers[0][:0], s.rows[i].short, prime-t.x)
			rest, s.buffers[0], s.buffers[1] = s.buffers[0], s.buffers[1], s.buffers[0]
		}
	}
	return rest
}

// reducedByTable is reduced for what is long.
func (s *span) reducedByTable(v vector) vector {
	for _, t := range v {
		s.table[t.at] = t.x
	}
	for _, t := range v {
		if i, found := s.at[t.at]; found {
			s.rows[i].addTo(s.table, prime-t.x)
		}
	}
	rest := s.buffers[0][:0]
	for at, x := range s.table {
		if x != 0 {
			rest, s.table[at] = append(rest, term{int32(at), x}), 0
		}
	}
	s.buffers[0] = rest
	return rest
}

// tells says that v follows from what is in.
func (s *span) tells(v vector) bool { return len(s.reduced(v)) == 0 }

// add takes v in, unless a guarded vector could be worked out then, or a row would
// tell of a group what it may not: it returns false and leaves the span as it was.
func (s *span) add(v vector) bool {
	rest := s.reduced(v)
	if len(rest) == 0 {
		return true // It follows from what is in already.
	}
	pivot := rest[0].at
	scaled := vector{}.plus(rest, inverse(rest[0].x))
	if s.groups.told(v) || s.groups.told(scaled) {
		return false
	}
	type change struct {
		row int
		to  vector
	}
	var guarded []change
	for i := range s.mind.of(pivot) {
		g := s.guarded[i]
		if x := g.find(pivot); x != 0 {
			if g = g.plus(scaled, prime-x); len(g) == 0 {
				return false
			}
			guarded = append(guarded, change{i, g})
		}
	}
	var changed []change
	told := func(i int) bool {
		x := s.rows[i].find(pivot)
		if x == 0 {
			return false
		}
		told, to := s.rows[i].toldWith(scaled, prime-x, s.groups)
		changed = append(changed, change{i, to})
		return told
	}
	for i := range s.longs {
		if told(i) {
			return false
		}
	}
	for i := range s.holders.of(pivot) {
		if s.rows[i].long == nil && told(i) {
			return false
		}
	}
	for _, c := range changed {
		if one := &s.rows[c.row]; one.long == nil {
			s.put(c.row, newRow(c.to, len(s.table), s.groups), scaled)
		} else if one.add(scaled, prime-one.find(pivot), s.groups); one.long == nil {
			s.put(c.row, *one, one.short)
		}
	}
	for _, c := range guarded {
		s.guarded[c.row] = c.to
		s.mind.note(c.row, scaled)
	}
	s.at[pivot], s.rows = len(s.rows), append(s.rows, row{})
	s.put(len(s.rows)-1, newRow(scaled, len(s.table), s.groups), scaled)
	return true
}

// put puts a row in its place, and notes that it holds what was added to it.
func (s *span) put(i int, one row, added vector) {
	s.rows[i] = one
	if one.long != nil {
		s.longs[i] = true
		return
	}
	delete(s.longs, i)
	s.holders.note(i, added)
}

// groups are the small counts of a pack, as groups of what they count. No group may
// be told that leaves fewer than three ways to share it out among the small counts in
// it, each one at least: three in it are known if they are three, two up to three, and
// one up to two. Nor may be told how many more a small count is than another group,
// where that is nearly all of it.
type groups struct {
	small int64
	// sizes are how many each coordinate is.
	sizes []int64
	// small counts by a coordinate that they hold.
	at map[int32][]vector
}

func newGroups(sizes []int64, guarded []vector, small int64) *groups {
	g := &groups{small: small, sizes: sizes, at: map[int32][]vector{}}
	for _, one := range guarded {
		for _, t := range one {
			g.at[t.at] = append(g.at[t.at], one)
		}
	}
	for _, list := range g.at {
		slices.SortStableFunc(list, func(v, w vector) int { return len(v) - len(w) })
	}
	return g
}

// many is so many that a row of so many terms tells nothing of the few: no more small
// counts are in them than terms, and few are all that is in it.
func (g *groups) many(terms int) int64 {
	n := int64(terms)
	return max(n, min(n, 4)*(g.small-1)) + g.small
}

// told says that a row of a span tells of a group what it may not.
func (g *groups) told(row vector) bool {
	if g == nil {
		return false
	}
	many := g.many(len(row))
	plus, minus := int64(0), int64(0)
	for _, t := range row {
		switch t.x {
		case 1:
			plus += g.sizes[t.at]
		case prime - 1:
			minus += g.sizes[t.at]
		default:
			return false
		}
		if plus >= many || minus >= many {
			return false
		}
	}
	if minus == 0 {
		// A small count that takes in nearly as many as it can is known nearly.
		if g.small-plus < leeway(g.small) && plus < g.small && slices.ContainsFunc(g.at[row[0].at], func(one vector) bool { return one.holds(row) }) {
			return true
		}
		inside, covered := g.inside(row, 1)
		// Whoever takes them all for small counts from the other end.
		short := inside*(g.small-1) - plus
		if covered == len(row) && (inside == 2 && short+1 < leeway(g.small) || inside > 2 && short == 0) {
			return true
		}
		return inside > 0 && (inside == plus || inside < 3 && plus-(inside-1) < leeway(g.small))
	}
	return g.nearly(row, 1, plus, minus) || g.nearly(row, prime-1, minus, plus)
}

// nearly says that the side of a row with the coefficient x, of so many, is one small
// count, and the row tells nearly how many: as many more than others are on the other
// side as leave it too few values.
func (g *groups) nearly(row vector, x uint32, own, other int64) bool {
	if own >= g.small {
		return false
	}
	side := 0
	for _, t := range row {
		if t.x == x {
			side++
		}
	}
	inside, _ := g.inside(row, prime-x)
	for _, t := range row {
		if t.x != x {
			continue
		}
		return slices.ContainsFunc(g.at[t.at], func(one vector) bool {
			return len(one) == side && !slices.ContainsFunc(one, func(t term) bool { return row.find(t.at) != x })
		}) && g.small-(own-other+inside) < leeway(g.small)
	}
	return false
}

// inside is how many small counts, that have nothing in common, are in those of a row
// that have the coefficient x, and how many of these they cover.
func (g *groups) inside(row vector, x uint32) (inside int64, covered int) {
	taken := vector{}
	for _, t := range row {
		if t.x != x {
			continue
		}
		for _, one := range g.at[t.at] {
			if !taken.meets(one) && !slices.ContainsFunc(one, func(t term) bool { return row.find(t.at) != x }) {
				inside, taken = inside+1, taken.plus(one, 1)
				break
			}
		}
	}
	return inside, len(taken)
}

// merged numbers the coordinates of vectors anew, so that those stand for one which
// no vector tells apart, and returns how many each new one is.
func merged(sizes []int64, vectors []vector) (fewer []vector, merged []int64) {
	// Each vector parts the coordinates further: what it holds of a block, by coefficient,
	// is a block of its own.
	type part struct {
		of int
		x  uint32
	}
	block, blocks := make([]int, len(sizes)), 1
	// to is, by block, its part with the coefficient 1 of the vector whose turn it is.
	to, turn := []int{0}, []int{0}
	for k, v := range vectors {
		others := map[part]int{}
		grow := func() int {
			to, turn, blocks = append(to, 0), append(turn, 0), blocks+1
			return blocks - 1
		}
		for _, t := range v {
			old := block[t.at]
			if t.x == 1 {
				if turn[old] != k+1 {
					next := grow()
					turn[old], to[old] = k+1, next
				}
				block[t.at] = to[old]
				continue
			}
			if _, found := others[part{old, t.x}]; !found {
				others[part{old, t.x}] = grow()
			}
			block[t.at] = others[part{old, t.x}]
		}
	}
	number := map[int]int{}
	for i, b := range block {
		if _, found := number[b]; !found {
			number[b] = len(number)
			merged = append(merged, 0)
		}
		merged[number[b]] += sizes[i]
		block[i] = number[b]
	}
	for _, v := range vectors {
		w := make(vector, len(v))
		for i, t := range v {
			w[i] = term{int32(block[t.at]), t.x}
		}
		slices.SortFunc(w, func(a, b term) int { return cmp.Compare(a.at, b.at) })
		fewer = append(fewer, slices.Compact(w))
	}
	return fewer, merged
}
