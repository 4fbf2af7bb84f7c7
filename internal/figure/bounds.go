package figure

import (
	"math"
	"slices"
)

// leeway is how many values a small count that is hidden must keep, of those from one
// to under small: known to be 3 or 4 it is nearly known. Tables of official statistics
// ask the same of hidden cells, a least width of the interval in which a reader can
// place one (Hundepool and others, Handbook on Statistical Disclosure Control, 2nd
// edition, 2024; Langsrud and others, GaussSuppression, rangeMin, 2025); how wide is
// theirs to say, and here ours.
func leeway(small int64) int64 { return min(3, small-1) }

const open = math.MaxInt64 / 4

// lengthy is so many groups that a number of them all bounds none of the small ones.
const lengthy = 200

// reader is somebody who reasons about a pack by bounds, beside adding and
// subtracting: no group has fewer than nobody in it, what is hidden is one at least,
// and nobody is more than all.
type reader struct {
	coordinates []bound
	hidden      []*hiddenCount
	facts       []*fact
}

// bound is what is known of a number, and by which facts.
type bound struct {
	low, high     int64
	lowBy, highBy *fact
}

func (b *bound) atLeast(n int64, by *fact) bool {
	if n > b.low {
		b.low, b.lowBy = n, by
		return true
	}
	return false
}

func (b *bound) atMost(n int64, by *fact) bool {
	if n < b.high {
		b.high, b.highBy = n, by
		return true
	}
	return false
}

// hiddenCount is a count that a pack hides, of each coordinate once; or one that it
// shows, known, which takes part in those it lies in; said is one that a sentence says.
// of is itself as a side: the counts
// that lie in it, and its other coordinates.
type hiddenCount struct {
	bound
	at          vector
	value, rank int
	small       bool
	known, said bool
	of          side
}

// fact is a number that a reader knows: how many more the plus are than the minus; or,
// of a count, how many more it is than that. rank is its place among the counts of a
// pack, the dearest first: what is no count itself is dear to nobody.
type fact struct {
	rank        int
	of          vector
	value       int64
	plus, minus side
	count       *hiddenCount
}

// side is a group of which a fact speaks, with the hidden counts that lie in it. In
// a cover each coordinate belongs to one hidden count that has nothing in common with
// the others (its place among within), or stands for itself (-1).
type side struct {
	at     []int32
	within []*hiddenCount
	cover  []int
	covers []bool
}

// newReader takes in what a span tells, the counts that are shown, and those that are
// hidden.
func newReader(sizes []int64, tells *span, shown []vector, hidden []*hiddenCount) *reader {
	r := &reader{coordinates: make([]bound, len(sizes)), hidden: hidden}
	for i := range r.coordinates {
		r.coordinates[i].high = open
	}
	// Hidden counts by their first coordinate.
	first := map[int32][]*hiddenCount{}
	for _, h := range hidden {
		if h.bound = (bound{low: 1, high: open}); h.known {
			by := &fact{of: h.at, rank: h.rank}
			h.bound = bound{low: int64(h.value), high: int64(h.value), lowBy: by, highBy: by}
		}
		first[h.at[0].at] = append(first[h.at[0].at], h)
	}
	for _, h := range hidden {
		if h.of = (side{}); len(h.at) > lengthy && !h.known {
			continue
		}
		for _, t := range h.at {
			h.of.at = append(h.of.at, t.at)
		}
		h.of.find(first, h)
		if h.said {
			h.lowBy.plus = h.of
		}
	}
	add := func(f fact, v vector) {
		f.rank = math.MaxInt
		if len(v) > lengthy {
			return
		}
		for _, t := range v {
			switch t.x {
			case 1:
				f.plus.at, f.value = append(f.plus.at, t.at), f.value+sizes[t.at]
			case prime - 1:
				f.minus.at, f.value = append(f.minus.at, t.at), f.value-sizes[t.at]
			default:
				return // Somebody is counted twice: too much for a bound.
			}
		}
		if f.count != nil {
			f.value = -f.value
			for _, t := range f.count.at {
				f.value += sizes[t.at]
			}
		}
		f.plus.find(first, nil)
		f.minus.find(first, nil)
		r.facts = append(r.facts, &f)
	}
	for _, list := range [][]vector{tells.vectors(), shown} {
		for _, v := range list {
			add(fact{of: v}, v)
		}
	}
	for _, h := range hidden {
		if rest := slices.Clone(tells.reduced(h.at)); h.small && len(rest) > 0 {
			if of := h.at.less(rest); len(of) > 0 {
				add(fact{of: of, count: h}, rest)
			}
		}
	}
	return r
}

// find looks for the hidden counts that lie in the side, but for one, and covers it by
// some of them.
func (s *side) find(first map[int32][]*hiddenCount, but *hiddenCount) {
	s.cover = make([]int, len(s.at))
	for i := range s.cover {
		s.cover[i] = -1
	}
	for _, at := range s.at {
		for _, h := range first[at] {
			if h != but && !slices.ContainsFunc(h.at, func(t term) bool { return s.place(t.at) < 0 }) {
				s.within = append(s.within, h)
			}
		}
	}
	slices.SortStableFunc(s.within, func(a, b *hiddenCount) int {
		switch {
		case a.known && b.known:
			return len(b.at) - len(a.at)
		case a.known:
			return -1
		case b.known:
			return 1
		}
		return len(a.at) - len(b.at)
	})
	s.covers = make([]bool, len(s.within))
	for k, h := range s.within {
		s.covers[k] = !slices.ContainsFunc(h.at, func(t term) bool { return s.cover[s.place(t.at)] >= 0 })
		for _, t := range h.at {
			if i := s.place(t.at); s.covers[k] {
				s.cover[i] = k
			}
		}
	}
}

func (s *side) place(at int32) int {
	if i, found := slices.BinarySearch(s.at, at); found {
		return i
	}
	return -1
}

// shared says that a count is on a side that three hidden counts cover, or more, beside
// what is known of it.
func (f *fact) shared(h *hiddenCount) bool {
	for _, s := range []side{f.plus, f.minus} {
		parts := 0
		for k, covers := range s.covers {
			if covers && !s.within[k].known {
				parts++
			}
		}
		if parts > 2 && slices.Contains(s.within, h) {
			return true
		}
	}
	return false
}

// sums are the least and the most that a side can be; opens says how many parts of it
// have no end.
type sums struct {
	least, most int64
	opens       int
}

func (u *sums) add(b bound, sign int64) {
	u.least += sign * b.low
	if b.high >= open {
		u.opens += int(sign)
	} else {
		u.most += sign * b.high
	}
}

// all sums up the whole side by its cover.
func (r *reader) all(s *side) (u sums) {
	for k, h := range s.within {
		if s.covers[k] {
			u.add(h.bound, 1)
		}
	}
	for i, at := range s.at {
		if s.cover[i] < 0 {
			u.add(r.coordinates[at], 1)
		}
	}
	return u
}

// but is what is left of the whole without some of its coordinates.
func (r *reader) but(s *side, u sums, without vector) sums {
	var met []int
	for _, t := range without {
		k := s.cover[s.place(t.at)]
		if k < 0 {
			u.add(r.coordinates[t.at], -1)
		} else if !slices.Contains(met, k) {
			met = append(met, k)
		}
	}
	for _, k := range met {
		u.add(s.within[k].bound, -1)
		for _, t := range s.within[k].at {
			if without.find(t.at) == 0 {
				u.add(r.coordinates[t.at], 1)
			}
		}
	}
	return u
}

// narrow tightens all bounds until nothing moves, or for some rounds.
func (r *reader) narrow() {
	// What hidden counts say of each other needs no fact.
	moved := true
	for moved {
		moved = false
		for _, h := range r.hidden {
			moved = r.link(h) || moved
		}
	}
	moved = true
	for rounds := 0; moved && rounds < 24; rounds++ {
		moved = false
		for _, f := range r.facts {
			plus, minus := r.all(&f.plus), r.all(&f.minus)
			if f.count != nil {
				if minus.opens == 0 {
					moved = f.count.atLeast(f.value+plus.least-minus.most, f) || moved
				}
				if plus.opens == 0 {
					moved = f.count.atMost(f.value+plus.most-minus.least, f) || moved
				}
				continue
			}
			moved = r.learn(&f.plus, minus, f.value, f, f) || moved
			moved = r.learn(&f.minus, r.all(&f.plus), -f.value, f, f) || moved
		}
		for _, h := range r.hidden {
			moved = r.link(h) || moved
		}
	}
}

// learn tightens what lies in a side: it is value more than the other side, whose ends
// are known by highBy and lowBy.
func (r *reader) learn(s *side, other sums, value int64, highBy, lowBy *fact) (moved bool) {
	own := r.all(s)
	tighten := func(b *bound, rest sums) {
		tighter := other.opens == 0 && b.atMost(value+other.most-rest.least, highBy)
		tighter = rest.opens == 0 && b.atLeast(value+other.least-rest.most, lowBy) || tighter
		if tighter {
			own, moved = r.all(s), true
		}
	}
	for _, h := range s.within {
		tighten(&h.bound, r.but(s, own, h.at))
	}
	if other.opens > 0 && own.opens > 1 && len(s.at) > 1 {
		// Whatever is left out, an end is open on both sides, but for a hidden count that
		// takes in all that is open.
		return moved
	}
	for i, at := range s.at {
		tighten(&r.coordinates[at], r.butOne(s, own, i))
	}
	return moved
}

// butOne is what is left of the whole without the coordinate at a place.
func (r *reader) butOne(s *side, u sums, place int) sums {
	k := s.cover[place]
	if k < 0 {
		u.add(r.coordinates[s.at[place]], -1)
		return u
	}
	u.add(s.within[k].bound, -1)
	for _, t := range s.within[k].at {
		if t.at != s.at[place] {
			u.add(r.coordinates[t.at], 1)
		}
	}
	return u
}

// link holds a hidden count against what it is the sum of.
func (r *reader) link(h *hiddenCount) (moved bool) {
	if len(h.of.at) == 0 {
		return false // It is lengthy.
	}
	all := r.all(&h.of)
	lowBy, highBy := r.by(&h.of)
	moved = h.atLeast(all.least, lowBy)
	if all.opens == 0 {
		moved = h.atMost(all.most, highBy) || moved
	}
	var whole sums
	whole.add(h.bound, 1)
	return r.learn(&h.of, whole, 0, h.highBy, h.lowBy) || moved
}

// by are the facts by which parts of a side have their ends, those that are dear to the
// fewest.
func (r *reader) by(s *side) (low, high *fact) {
	take := func(b bound) {
		if b.lowBy != nil && (low == nil || b.lowBy.rank >= low.rank) {
			low = b.lowBy
		}
		if b.highBy != nil && (high == nil || b.highBy.rank >= high.rank) {
			high = b.highBy
		}
	}
	for k, h := range s.within {
		if s.covers[k] {
			take(h.bound)
		}
	}
	for i, at := range s.at {
		if s.cover[i] < 0 {
			take(r.coordinates[at])
		}
	}
	return low, high
}

// around is the least known count that a count lies in and that no sentence says.
func (r *reader) around(h *hiddenCount) *fact {
	var least *hiddenCount
	for _, k := range r.hidden {
		if k.known && !k.said && (least == nil || len(k.at) < len(least.at)) && len(k.at) > len(h.at) && k.at.holds(h.at) {
			least = k
		}
	}
	if least == nil {
		return nil
	}
	return least.lowBy
}

// tooNarrow lists the facts by which a small count keeps too few values, the simplest
// first.
func (r *reader) tooNarrow(small int64) (by []*fact) {
	for _, h := range r.hidden {
		if !h.small || min(h.high, small-1)-h.low+1 >= leeway(small) {
			continue
		}
		// The end that is the nearer to what was known before.
		f := h.highBy
		if h.high >= small-1 || f == nil || h.lowBy != nil && h.low-1 > small-1-h.high {
			f = h.lowBy
		}
		if f != nil && f.plus.at != nil && f.rank < math.MaxInt {
			// A sentence is dear: a cell that tells of few beside it goes first.
			if cheaper := r.around(h); cheaper != nil {
				f = cheaper
			}
		}
		// Among three or more there are more ways than values to share a sum out.
		if f != nil && f == h.highBy && h.lowBy == nil && h.high > h.low && f.shared(h) {
			continue
		}
		if f != nil && !slices.Contains(by, f) {
			by = append(by, f)
		}
	}
	slices.SortStableFunc(by, func(a, b *fact) int { return len(a.of) - len(b.of) })
	return by
}
