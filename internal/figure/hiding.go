package figure

import (
	"cmp"
	"encoding/binary"
	"slices"
)

// class is a count that a pack shows, in one place or in several.
type class struct {
	at    vector
	cells []*shown
	turn  int
	// worth is the count, as many times as it would be missed.
	worth int64
}

// classes gathers the cells that may be shown, in the order in which they are.
func (q *equations) classes() []*class {
	byVector := map[string]*class{}
	var all []*class
	for _, c := range q.cells {
		if c.isHidden() {
			continue
		}
		key := c.at.key()
		one := byVector[key]
		if one == nil {
			one = &class{at: c.at, turn: c.turn()}
			byVector[key] = one
			all = append(all, one)
		}
		one.cells, one.turn = append(one.cells, c), min(one.turn, c.turn())
		if one.worth += c.value; c.answer() {
			one.worth += 2 * c.value
		}
	}
	// What the pack is read for before all else, sentences before tables.
	slices.SortStableFunc(all, func(a, b *class) int {
		if a.turn != b.turn {
			return a.turn - b.turn
		}
		return cmp.Compare(b.worth, a.worth)
	})
	return all
}

// key is the vector as a text.
func (v vector) key() string {
	var b []byte
	for _, t := range v {
		b = binary.AppendUvarint(b, uint64(t.at))
		b = binary.AppendUvarint(b, uint64(t.x))
	}
	return string(b)
}

// merge lets coordinates that no vector of the pack tells apart be one.
func (q *equations) merge() {
	var places []*vector
	for _, c := range append(slices.Clone(q.cells), q.steps...) {
		places = append(places, &c.at)
	}
	for _, list := range [][]vector{q.sums, q.guarded, q.small} {
		for i := range list {
			places = append(places, &list[i])
		}
	}
	all := make([]vector, len(places))
	for i, v := range places {
		all[i] = *v
	}
	all, q.sizes = merged(q.sizes, all)
	for i, v := range places {
		*v = all[i]
	}
}

func across(figures []*Figure, masks []*mask, atoms *Atoms, small int64) {
	q := equationsOf(figures, masks, atoms, small)
	q.merge()
	q.always = newSpan(q.sums)
	classes := q.classes()
	nests := nested(classes, len(q.sizes), small)
	groups := newGroups(q.sizes, q.small, small)
	for _, n := range nests {
		inner, outer := classes[n.inner], classes[n.outer]
		rest := outer.cells[0].value - inner.cells[0].value
		if rest < small && (inner.inTables() || outer.inTables()) || groups.told(n.rest) {
			q.guarded = append(q.guarded, n.rest)
		}
	}
	for {
		// What holds whatever is hidden comes first, unasked.
		s := newSpan(q.sums)
		s.guard(q.guarded)
		s.watch(groups)
		showing := make([]bool, len(classes))
		seen := map[*shown]bool{}
		for i, c := range classes {
			showing[i] = c.tellsLittle(seen) && s.add(c.at)
			for _, one := range c.cells {
				seen[one] = showing[i]
			}
		}
		if q.guardLines(s, classes, showing, small) || q.guardBounds(s, classes, nests, showing, small) {
			continue
		}
		for i, c := range classes {
			if !showing[i] {
				for _, one := range c.cells {
					one.hide()
				}
			}
		}
		q.tellRests(s)
		return
	}
}

// fewHidden are so few hidden months of a baseline that their sum tells too much of each
// beside what rows and columns tell of them: the bounds that are looked at are those of
// one line at a time.
const fewHidden = 2

// tellsLittle says that a count is none that a centre line is made of, or one that sums up
// no hidden month, or more than a few.
func (c *class) tellsLittle(seen map[*shown]bool) bool {
	for _, one := range c.cells {
		hidden := 0
		for _, part := range one.foundation {
			if !seen[part] {
				hidden++
			}
		}
		if hidden > 0 && hidden <= fewHidden {
			return false
		}
	}
	return true
}

// inTables says that the count stands neither in a sentence nor in a chart by month.
// Then what it leaves of another, or another of it, is guarded where that is small: 15
// of 16 tell of one, though they stand in two tables. The few that are undetermined
// among those given in a month would take all months out of the charts.
func (c *class) inTables() bool {
	return !slices.ContainsFunc(c.cells, func(s *shown) bool {
		m, told := s.figure.meaningOf(s.column, s.answer())
		return s.answer() || !told || m.ofRowsMonth()
	})
}

// said says that a sentence says the count.
func (c *class) said() bool { return slices.ContainsFunc(c.cells, (*shown).answer) }

// nest is a count within another, by their places among the classes, and the rest.
type nest struct {
	inner, outer int
	rest         vector
}

// nested lists the counts that lie within another and leave little of it: what a span
// tells it may tell in other words alone.
func nested(classes []*class, width int, small int64) (nests []nest) {
	at := make([][]int32, width)
	for i, c := range classes {
		if c.at.once() {
			for _, t := range c.at {
				at[t.at] = append(at[t.at], int32(i))
			}
		}
	}
	for i, c := range classes {
		if len(c.at) == 0 || !c.at.once() {
			continue
		}
		for _, j := range at[c.at[0].at] {
			outer := classes[j]
			rest := outer.cells[0].value - c.cells[0].value
			if rest > 0 && rest < 4*small && len(outer.at) > len(c.at) && outer.at.holds(c.at) {
				nests = append(nests, nest{i, int(j), outer.at.less(c.at)})
			}
		}
	}
	return nests
}

// guardBounds looks whether a reader who knows what is shown could tell of a small
// count too nearly how many it is: then what tells it is guarded too.
func (q *equations) guardBounds(s *span, classes []*class, nests []nest, showing []bool, small int64) (more bool) {
	var told []vector
	seen := map[*shown]bool{}
	for i, c := range classes {
		if showing[i] {
			told = append(told, c.at)
			for _, one := range c.cells {
				seen[one] = true
			}
		}
	}
	for _, n := range nests {
		if showing[n.inner] && showing[n.outer] {
			told = append(told, n.rest)
		}
	}
	// What is hidden of a line together bounds its parts, however many numbers tell it.
	for _, lines := range [][][]*shown{q.lines, q.years} {
		for _, line := range lines {
			firsts := firstsOf(line, func(one *shown) bool { return !seen[one] })
			if n := len(firsts); n > 1 && s.tells(firsts[n-1].at) {
				told = append(told, firsts[n-1].at)
			}
		}
	}
	var hidden []*hiddenCount
	taken := map[string]bool{}
	for i, c := range classes {
		if showing[i] && len(c.at) > 0 && (len(c.at) <= lengthy || c.said() && len(c.at) <= 5*lengthy) && c.at.once() {
			hidden = append(hidden, &hiddenCount{at: c.at, value: int(c.cells[0].value), rank: i, known: true, said: c.said()})
		}
	}
	for _, c := range append(slices.Clone(q.cells), q.steps...) {
		if key := c.at.key(); !seen[c] && c.value > 0 && len(c.at) > 0 && !taken[key] && c.at.once() {
			taken[key] = true
			hidden = append(hidden, &hiddenCount{at: c.at, small: c.value < small})
		}
	}
	r := newReader(q.sizes, s, told, hidden)
	r.narrow()
	// What has to do with what is guarded now may be wide enough after that.
	var now vector
	for _, f := range r.tooNarrow(small) {
		if now.meets(f.of) || q.always.tells(f.of) {
			continue // The latter holds whatever is hidden.
		}
		q.guarded, now, more = append(q.guarded, f.of), now.plus(f.of, 1), true
	}
	return more
}

// tellRests notes of each row what is hidden of it together, where what is shown
// tells that; else what is hidden of its first columns: the marks that make up those
// judged, beside some that are not.
func (q *equations) tellRests(s *span) {
	for _, line := range q.rows {
		firsts := firstsOf(line, (*shown).isHidden)
		for i := len(firsts) - 1; i >= 0; i-- {
			if !s.tells(firsts[i].at) {
				continue
			}
			f := line[0].figure
			if f.rests == nil {
				f.rests = map[int]rest{}
			}
			f.rests[line[0].row] = rest{firsts[i].sum, i == len(firsts)-1}
			break
		}
	}
}

// group is some hidden counts of a line together: how many counts, and how many they
// count.
type group struct {
	at     vector
	counts int64
	sum    int64
}

// firstsOf gives what is hidden of a line together: the first, the first two and so on.
func firstsOf(line []*shown, hidden func(*shown) bool) (all []group) {
	var g group
	for _, one := range line {
		if hidden(one) {
			g = group{g.at.plus(one.at, 1), g.counts + 1, g.sum + one.value}
			all = append(all, g)
		}
	}
	return all
}

// guardLines looks whether of a row or a column so little is hidden as a whole that
// it is small, and could be worked out: then it is guarded too.
func (q *equations) guardLines(s *span, classes []*class, showing []bool, small int64) (more bool) {
	seen := map[*shown]bool{}
	for i, c := range classes {
		for _, one := range c.cells {
			seen[one] = showing[i]
		}
	}
	for _, line := range q.lines {
		firsts := firstsOf(line, func(one *shown) bool { return !seen[one] })
		for _, g := range firsts {
			if g.counts > 1 && (g.sum < small || g.sum == g.counts) && s.tells(g.at) {
				q.guarded, more = append(q.guarded, g.at), true
				break
			}
		}
	}
	return more
}
