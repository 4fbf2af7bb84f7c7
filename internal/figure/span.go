package figure

import (
	"cmp"
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
	rows []vector
	// at says which row has a pivot.
	at map[int32]int
	// guarded are what is left of the guarded vectors after the rows.
	guarded []vector
	// groups says what a row may not tell; nil for no matter what.
	groups *groups
	// buffers take turns in holding what is left of a vector.
	buffers [2]vector
}

func newSpan(guarded []vector) *span {
	s := &span{at: map[int32]int{}}
	for _, g := range guarded {
		if len(g) > 0 {
			s.guarded = append(s.guarded, g)
		}
	}
	return s
}

// reduced is what is left of v after the rows, until it is asked again.
func (s *span) reduced(v vector) vector {
	rest := v
	for _, t := range v {
		// No row holds the pivot of another, so that this one is still as in v.
		if row, found := s.at[t.at]; found {
			s.buffers[0] = rest.plusInto(s.buffers[0][:0], s.rows[row], prime-t.x)
			rest, s.buffers[0], s.buffers[1] = s.buffers[0], s.buffers[1], s.buffers[0]
		}
	}
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
	var guarded, changed []change
	for i, g := range s.guarded {
		if x := g.find(pivot); x != 0 {
			if g = g.plus(scaled, prime-x); len(g) == 0 {
				return false
			}
			guarded = append(guarded, change{i, g})
		}
	}
	for i, row := range s.rows {
		if x := row.find(pivot); x != 0 {
			if row = row.plus(scaled, prime-x); s.groups.told(row) {
				return false
			}
			changed = append(changed, change{i, row})
		}
	}
	for _, c := range changed {
		s.rows[c.row] = c.to
	}
	for _, c := range guarded {
		s.guarded[c.row] = c.to
	}
	s.at[pivot], s.rows = len(s.rows), append(s.rows, scaled)
	return true
}

// groups are the small counts of a pack, as groups of what they count. No group may
// be told that is as many as there are small counts in it, for each is one then; nor a
// small one that is not twice as many.
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

// told says that a row of a span tells of a group what it may not.
func (g *groups) told(row vector) bool {
	if g == nil {
		return false
	}
	sum := int64(0)
	for _, t := range row {
		if t.x != 1 {
			return false
		}
		if sum += g.sizes[t.at]; sum >= g.small && sum > int64(len(row)) {
			return false
		}
	}
	// How many small counts are in it that have nothing in common.
	inside, taken := int64(0), vector{}
	for _, t := range row {
		for _, one := range g.at[t.at] {
			if row.holds(one) && !taken.meets(one) {
				inside, taken = inside+1, taken.plus(one, 1)
				break
			}
		}
	}
	return inside == sum || sum < g.small && sum < 2*inside
}

// merged numbers the coordinates of vectors anew, so that those stand for one which
// no vector tells apart, and returns how many each new one is.
func merged(sizes []int64, vectors []vector) (fewer []vector, merged []int64) {
	type part struct {
		of int
		x  uint32
	}
	// Each vector parts the coordinates further.
	block, blocks := make([]int, len(sizes)), 1
	for _, v := range vectors {
		parts := map[part]int{}
		for _, t := range v {
			p := part{block[t.at], t.x}
			if _, found := parts[p]; !found {
				parts[p] = blocks
				blocks++
			}
			block[t.at] = parts[p]
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
