package figure

import (
	"maps"
	"slices"
)

// vector is a sparse vector over a prime field. Coefficients are small whole
// numbers, so that what depends on each other over the fractions does so here
// too; by a rare accident of the prime two vectors may depend on each other
// here alone, and then a cell too many is hidden, never one too few.
type vector map[int]uint64

// prime is 2^31 − 1: a product of two coefficients fits 64 bits.
const prime = 1<<31 - 1

// unit is the sum of the unit vectors of some coordinates.
func unit(at ...int) vector {
	v := vector{}
	for _, i := range at {
		v[i] = 1
	}
	return v
}

// less is v − w.
func (v vector) less(w vector) vector {
	d := maps.Clone(v)
	d.addTimes(w, prime-1)
	return d
}

// addTimes adds x·w to v.
func (v vector) addTimes(w vector, x uint64) {
	for i, y := range w {
		if sum := (v[i] + x*y) % prime; sum == 0 {
			delete(v, i)
		} else {
			v[i] = sum
		}
	}
}

// inverse is 1/x, by Fermat's little theorem.
func inverse(x uint64) uint64 {
	result := uint64(1)
	for n := uint64(prime - 2); n > 0; n >>= 1 {
		if n&1 == 1 {
			result = result * x % prime
		}
		x = x * x % prime
	}
	return result
}

// span is what can be worked out from vectors by adding and subtracting. Its
// rows are reduced fully: no row holds the pivot of another.
type span struct {
	rows map[int]vector
	// holds lists, by coordinate, the pivots of the rows that hold it.
	holds map[int]map[int]bool
	// guarded are what is left of the guarded vectors after the rows.
	guarded []vector
}

func newSpan(guarded []vector) *span {
	s := &span{rows: map[int]vector{}, holds: map[int]map[int]bool{}}
	for _, g := range guarded {
		if len(g) > 0 {
			s.guarded = append(s.guarded, maps.Clone(g))
		}
	}
	return s
}

// reduced is what is left of v after the rows.
func (s *span) reduced(v vector) vector {
	rest := maps.Clone(v)
	for _, i := range slices.Sorted(maps.Keys(v)) {
		if row, found := s.rows[i]; found {
			if x := rest[i]; x != 0 {
				rest.addTimes(row, prime-x)
			}
		}
	}
	return rest
}

// add takes v in, unless a guarded vector could be worked out then: it returns
// false and leaves the span as it was.
func (s *span) add(v vector) bool {
	rest := s.reduced(v)
	if len(rest) == 0 {
		return true // It follows from what is in already.
	}
	pivot := slices.Min(slices.Collect(maps.Keys(rest)))
	scaled := vector{}
	scaled.addTimes(rest, inverse(rest[pivot]))
	next := make([]vector, len(s.guarded))
	for i, g := range s.guarded {
		next[i] = g
		if x := g[pivot]; x != 0 {
			next[i] = maps.Clone(g)
			next[i].addTimes(scaled, prime-x)
			if len(next[i]) == 0 {
				return false
			}
		}
	}
	s.guarded = next
	for other := range maps.Clone(s.holds[pivot]) {
		row := s.rows[other]
		for i := range row {
			delete(s.holds[i], other)
		}
		row.addTimes(scaled, prime-row[pivot])
		for i := range row {
			s.hold(i, other)
		}
	}
	s.rows[pivot] = scaled
	for i := range scaled {
		s.hold(i, pivot)
	}
	return true
}

func (s *span) hold(coordinate, pivot int) {
	if s.holds[coordinate] == nil {
		s.holds[coordinate] = map[int]bool{}
	}
	s.holds[coordinate][pivot] = true
}
