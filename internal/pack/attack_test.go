package pack

import (
	"math"
	"math/bits"
	"slices"

	"thawline/internal/figure"
)

// bounds is an attacker with more patience: beside adding and subtracting it knows
// that no group has fewer than nobody in it, that what is hidden is not nought, and
// that people are whole.
type bounds struct {
	sums   []sum
	hidden []group
	// low and high are of each coordinate.
	low, high []int64
}

// sum is a number of a pack, or one that follows from several.
type sum struct {
	of    map[int]int64
	value int64
	// group is who is counted, where each is counted once.
	group group
}

// group is a set of coordinates with what is known of its size.
type group struct {
	name      string
	value     int64
	in        set
	low, high int64
}

type set []uint64

func setOf(of map[int]int64, width int) set {
	s := make(set, width/64+1)
	for i := range of {
		s[i/64] |= 1 << (i % 64)
	}
	return s
}

func (s set) holds(t set) bool {
	for i, x := range t {
		if x&^s[i] != 0 {
			return false
		}
	}
	return true
}

func (s set) meets(t set) bool {
	for i, x := range t {
		if x&s[i] != 0 {
			return true
		}
	}
	return false
}

func (s set) each(do func(i int)) {
	for k, x := range s {
		for ; x != 0; x &= x - 1 {
			do(64*k + bits.TrailingZeros64(x))
		}
	}
}

const unbounded = math.MaxInt64 / 4

// newBounds takes in what a pack shows, after, and names what it hides of before.
func newBounds(before, after []figure.Equation) *bounds {
	width := 0
	for _, e := range append(slices.Clone(before), after...) {
		for i := range e.Of {
			width = max(width, i+1)
		}
	}
	b := &bounds{low: make([]int64, width), high: make([]int64, width)}
	for i := range b.high {
		b.high[i] = unbounded
	}
	shown := map[string]bool{}
	solver := &attacker{width: width + 1, rows: map[int][]uint64{}}
	add := func(of map[int]int64, value int64) {
		one := sum{of: of, value: value}
		if once(of) {
			one.group = group{in: setOf(of, width)}
		}
		b.sums = append(b.sums, one)
	}
	for _, e := range after {
		shown[e.Count] = true
		if len(e.Of) == 0 {
			continue
		}
		add(e.Of, e.Value)
		with := map[int]int64{width: -e.Value}
		for i, x := range e.Of {
			with[i] = x
		}
		solver.learn(with)
	}
	// What follows from several, where it is simple enough to say.
	for _, row := range solver.reducedRows() {
		of, value, simple := map[int]int64{}, int64(0), true
		for i, x := range row {
			n := int64(x)
			if n > attackersPrime/2 {
				n -= attackersPrime
			}
			switch {
			case i == width:
				value = -n
			case n != 0:
				of[i] = n
				simple = simple && n >= -4 && n <= 4
			}
		}
		if simple && len(of) > 0 {
			add(of, value)
		}
	}
	named := map[string]bool{}
	for _, e := range before {
		if e.Value > 0 && e.Count != "" && !shown[e.Count] && !named[e.Count] && once(e.Of) {
			named[e.Count] = true
			b.hidden = append(b.hidden, group{e.Count, e.Value, setOf(e.Of, width), 1, unbounded})
		}
	}
	return b
}

// once says that everybody is counted once.
func once(of map[int]int64) bool {
	for _, x := range of {
		if x != 1 {
			return false
		}
	}
	return true
}

// reducedRows are the rows that were learned, none with the first coordinate of
// another.
func (a *attacker) reducedRows() (rows [][]uint64) {
	var at []int
	for i := range a.rows {
		at = append(at, i)
	}
	slices.Sort(at)
	for k := len(at) - 1; k >= 0; k-- {
		row := slices.Clone(a.rows[at[k]])
		for _, i := range at[k+1:] {
			if x := row[i]; x != 0 {
				for j, y := range a.rows[i][i:] {
					row[i+j] = (row[i+j] + (attackersPrime-x)*y) % attackersPrime
				}
			}
		}
		a.rows[at[k]] = row
		rows = append(rows, row)
	}
	return rows
}

// narrow tightens what is known until nothing moves, and says whether what a pack
// shows can be true at all.
func (b *bounds) narrow() (possible bool) {
	for moved, rounds := true, 0; moved && rounds < 60; rounds++ {
		moved = false
		tighten := func(low, high *int64, l, h int64) {
			if l > *low {
				*low, moved = l, true
			}
			if h < *high {
				*high, moved = h, true
			}
		}
		for _, s := range b.sums {
			// From and to are what all together may be; open are those without an end.
			from, to, openFrom, openTo := int64(0), int64(0), 0, 0
			ends := func(i int, x int64) (least, most int64, openLeast, openMost int) {
				least, most = x*b.low[i], x*b.low[i]
				switch {
				case b.high[i] == unbounded && x > 0:
					return least, 0, 0, 1
				case b.high[i] == unbounded:
					return 0, most, 1, 0
				case x > 0:
					return least, x * b.high[i], 0, 0
				}
				return x * b.high[i], most, 0, 0
			}
			for i, x := range s.of {
				least, most, openLeast, openMost := ends(i, x)
				from, to, openFrom, openTo = from+least, to+most, openFrom+openLeast, openTo+openMost
			}
			for i, x := range s.of {
				least, most, openLeast, openMost := ends(i, x)
				if openFrom == openLeast {
					// The others are so many at least, and this one the rest at most.
					if rest := s.value - (from - least); x > 0 {
						tighten(&b.low[i], &b.high[i], b.low[i], floor(rest, x))
					} else {
						tighten(&b.low[i], &b.high[i], -floor(rest, -x), b.high[i])
					}
				}
				if openTo == openMost {
					if rest := s.value - (to - most); x > 0 {
						tighten(&b.low[i], &b.high[i], -floor(-rest, x), b.high[i])
					} else {
						tighten(&b.low[i], &b.high[i], b.low[i], floor(-rest, -x))
					}
				}
			}
		}
		for k := range b.hidden {
			h := &b.hidden[k]
			low, high, n, only := int64(0), int64(0), 0, 0
			h.in.each(func(i int) {
				low, high, n, only = low+b.low[i], min(high+b.high[i], unbounded), n+1, i
			})
			tighten(&h.low, &h.high, low, high)
			if n == 1 {
				tighten(&b.low[only], &b.high[only], h.low, h.high)
			}
		}
		// Of a group, those hidden in it that have nothing in common leave so many.
		for _, s := range b.sums {
			if s.group.in == nil || s.value > 200 {
				continue
			}
			var inside []*group
			for k := range b.hidden {
				if s.group.in.holds(b.hidden[k].in) {
					inside = append(inside, &b.hidden[k])
				}
			}
			for _, h := range inside {
				left, taken := s.value, slices.Clone(h.in)
				for _, other := range inside {
					if !taken.meets(other.in) {
						left -= other.low
						for i, x := range other.in {
							taken[i] |= x
						}
					}
				}
				tighten(&h.low, &h.high, h.low, left)
			}
		}
		for _, h := range b.hidden {
			if h.low > h.high {
				return false
			}
		}
	}
	return true
}

// floor is n/d, rounded down; d is more than nought.
func floor(n, d int64) int64 {
	q := n / d
	if n%d < 0 {
		q--
	}
	return q
}

// known lists the small counts that are hidden, and known all the same.
func (b *bounds) known(small int64) (names []string) {
	for _, h := range b.hidden {
		if h.value < small && h.low == h.high {
			names = append(names, h.name)
		}
	}
	return names
}
