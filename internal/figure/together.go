package figure

import (
	"fmt"
	"slices"
	"strings"
)

// Together discloses all figures of a pack at once. Each is masked by itself
// (see Disclose); then no count under small, and no rest of a share under it,
// may follow from the counts that stay in sight by adding and subtracting,
// whichever figures they stand in: as far as figures say what they count (their
// means), and that columns add up to it. Where one would, the next smallest
// count that gives it away is hidden too.
//
// It is the question whether a vector lies in the span of others. A count is a
// vector over groups of episodes (atoms); a count that the figure does not
// explain is a coordinate of its own. Counts are shown one by one, those of the
// foremost figure first, then those of sentences, the larger before the smaller; one whose showing would
// bring a protected vector into the span of those shown is hidden instead.
func Together(figures []*Figure, atoms *Atoms, small int64) {
	if small <= 1 {
		return
	}
	masks := make([]*mask, len(figures))
	for i, f := range figures {
		masks[i] = f.mask(small, atoms != nil)
	}
	if atoms != nil {
		across(figures, masks, atoms, small)
	}
	for i, f := range figures {
		f.apply(masks[i])
	}
}

// mask says which cells of a figure are hidden.
type mask struct {
	points  [][]bool
	answers map[string]bool
}

// shown is one count of a pack with its vector.
type shown struct {
	figure *Figure
	// row is -1 for a value of the answer.
	row    int
	column string
	value  int64
	at     vector
	mask   *mask
}

func (s *shown) answer() bool { return s.row < 0 }

// turn orders the counts by how dearly they would be missed.
func (s *shown) turn() int {
	switch {
	case s.figure.Foremost && s.answer() && (s.column == "n" || s.column == "of" || s.column == "not_known"):
		return 0
	case s.figure.Foremost && !s.answer():
		return 1
	case s.figure.Least && s.answer():
		return 4
	case s.figure.Least:
		return 5
	case s.answer():
		return 2
	}
	return 3
}

func (s *shown) isHidden() bool {
	if s.answer() {
		return s.mask.answers[s.column]
	}
	return s.mask.points[s.row][s.figure.Index(s.column)]
}

func (s *shown) hide() {
	if s.answer() {
		s.mask.answers[s.column] = true
	} else {
		s.mask.points[s.row][s.figure.Index(s.column)] = true
	}
}

// equations are what the counts of a pack mean, as vectors.
type equations struct {
	cells []*shown
	// sums are vectors known to be zero: columns that add up to atoms.
	sums []vector
	// guarded are the vectors that must not be worked out.
	guarded []vector
	// steps are those of them that no cell shows: small differences between the
	// steps of a ladder.
	steps []*shown
}

// Equation is what one count of a pack says to a reader who adds and subtracts:
// the sum of Of, groups of episodes with how often each counts, is Value.
type Equation struct {
	// Count names the count: figure, row and column, or figure and answer.
	Count string
	Value int64
	// Guarded says that nobody may work it out.
	Guarded bool
	Of      map[int]int64
}

// Equations lists what the counts of figures say that are not hidden, and the
// sums that hold whatever they are (Value 0, no Count). A check of a pack by
// other means than Together's starts from here.
func Equations(figures []*Figure, atoms *Atoms, small int64) []Equation {
	masks := make([]*mask, len(figures))
	q := equationsOf(figures, masks, atoms, small)
	whole := func(v vector) map[int]int64 {
		of := map[int]int64{}
		for i, x := range v {
			if of[i] = int64(x); x > prime/2 {
				of[i] -= prime
			}
		}
		return of
	}
	var all []Equation
	for _, c := range q.cells {
		name := fmt.Sprintf("%s answer %s", c.figure.Name, c.column)
		if !c.answer() {
			name = fmt.Sprintf("%s row %d %s", c.figure.Name, c.row+1, c.column)
		}
		all = append(all, Equation{name, c.value, c.value > 0 && c.value < small, whole(c.at)})
	}
	for _, c := range q.steps {
		all = append(all, Equation{fmt.Sprintf("%s row %d %s", c.figure.Name, c.row+1, c.column), c.value, true, whole(c.at)})
	}
	for _, sum := range q.sums {
		all = append(all, Equation{Of: whole(sum)})
	}
	return all
}

// Wrong lists what figures, before disclosure, say to count and do not: a
// meaning that is not true would guard the wrong numbers.
func (a *Atoms) Wrong(figures []*Figure) []string {
	q := equationsOf(figures, make([]*mask, len(figures)), a, 0)
	var wrong []string
	// A count that no figure explains is known from its own equation.
	alone := map[int]int64{}
	size := func(v vector) int64 {
		sum := int64(0)
		for i, x := range v {
			n := alone[i]
			if i < len(a.sizes) {
				n = a.sizes[i]
			}
			if x > prime/2 {
				n = -n
			}
			sum += n
		}
		return sum
	}
	for _, c := range q.cells {
		if len(c.at) == 1 {
			for i := range c.at {
				if i >= len(a.sizes) {
					alone[i] = c.value
				}
			}
		}
	}
	for _, c := range q.cells {
		if found := size(c.at); found != c.value {
			wrong = append(wrong, fmt.Sprintf("%s row %d (0: answer) %s is %d, its meaning counts %d", c.figure.Name, c.row+1, c.column, c.value, found))
		}
	}
	for _, sum := range q.sums {
		if found := size(sum); found != 0 {
			wrong = append(wrong, fmt.Sprintf("columns that add up (in rows) are %d off their meaning", found))
		}
	}
	return wrong
}

// equationsOf writes a pack's counts as vectors over its atoms, and further
// coordinates for counts that no figure explains.
func equationsOf(figures []*Figure, masks []*mask, atoms *Atoms, small int64) *equations {
	q := &equations{}
	next := len(atoms.values)
	for i, f := range figures {
		cells := map[[2]int]vector{}
		counts := countColumns(f.Points)
		for r, row := range f.Rows {
			for _, c := range counts {
				// A hidden count has lost its value, and still its place in sums.
				value, ok := row[c].Value.(int64)
				var at vector
				if m, told := f.meaningOf(f.Points[c].Name, false); told {
					at = unit(atoms.of(f, m, row)...)
				} else {
					at = unit(next)
					next++
				}
				cells[[2]int{r, c}] = at
				if !ok {
					continue
				}
				q.cells = append(q.cells, &shown{f, r, f.Points[c].Name, value, at, masks[i]})
				if value > 0 && value < small {
					q.guarded = append(q.guarded, at)
				}
			}
			for _, p := range f.pairs() {
				part, okPart := row[p[0]].Value.(int64)
				whole, okWhole := row[p[1]].Value.(int64)
				if okPart && okWhole && whole > part && whole-part < small && cells[[2]int{r, p[0]}] != nil && cells[[2]int{r, p[1]}] != nil {
					q.guarded = append(q.guarded, cells[[2]int{r, p[1]}].less(cells[[2]int{r, p[0]}]))
				}
			}
		}
		q.addSteps(f, cells, small)
		for _, m := range f.means {
			if !m.inRows {
				continue
			}
			q.sums = append(q.sums, total(f, cells, m.columns, nil).less(unit(atoms.of(f, m, nil)...)))
		}
		answers := map[string]vector{}
		for _, c := range f.Answer {
			if c.Kind != Count {
				continue
			}
			value, ok := f.Values[c.Name].Value.(int64)
			var at vector
			if m, told := f.meaningOf(c.Name, true); told && m.sumOf != nil {
				at = total(f, cells, m.sumOf, m.where)
			} else if told {
				at = unit(atoms.of(f, m, nil)...)
			} else {
				at = unit(next)
				next++
			}
			for _, m := range f.sumsOf(c.Name) {
				q.sums = append(q.sums, total(f, cells, m.sumOf, m.where).less(at))
			}
			answers[c.Name] = at
			if !ok {
				continue
			}
			q.cells = append(q.cells, &shown{f, -1, c.Name, value, at, masks[i]})
			if value > 0 && value < small {
				q.guarded = append(q.guarded, at)
			}
		}
		n, hasN := f.Whole("n")
		of, hasOf := f.Whole("of")
		if hasN && hasOf && of > n && of-n < small && answers["n"] != nil && answers["of"] != nil {
			q.guarded = append(q.guarded, answers["of"].less(answers["n"]))
		}
	}
	return q
}

// addSteps guards the small differences between the steps of each ladder.
func (q *equations) addSteps(f *Figure, cells map[[2]int]vector, small int64) {
	if f.Steps == "" {
		return
	}
	ladder := func(r int) string {
		label, _ := f.Rows[r][f.Index(f.Steps)].Value.(string)
		name, _, _ := strings.Cut(label, "=")
		return name
	}
	for r := range f.Rows {
		for other := range r {
			if ladder(r) != ladder(other) {
				continue
			}
			for _, c := range countColumns(f.Points) {
				x, okX := f.Rows[r][c].Value.(int64)
				y, okY := f.Rows[other][c].Value.(int64)
				if between := max(x-y, y-x); okX && okY && between > 0 && between < small {
					at := cells[[2]int{r, c}].less(cells[[2]int{other, c}])
					q.guarded = append(q.guarded, at)
					q.steps = append(q.steps, &shown{figure: f, row: r, column: fmt.Sprintf("%s less row %d", f.Points[c].Name, other+1), value: between, at: at})
				}
			}
		}
	}
}

// total is the sum of some columns over the rows whose labels meet the conditions.
func total(f *Figure, cells map[[2]int]vector, columns []string, where []condition) vector {
	sum := vector{}
	for r, row := range f.Rows {
		if slices.ContainsFunc(where, func(c condition) bool {
			label, _ := row[f.Index(c.of.column)].Value.(string)
			return slices.Contains(c.values, label) == c.not
		}) {
			continue
		}
		for _, name := range columns {
			sum.addTimes(cells[[2]int{r, f.Index(name)}], 1)
		}
	}
	return sum
}

func across(figures []*Figure, masks []*mask, atoms *Atoms, small int64) {
	q := equationsOf(figures, masks, atoms, small)
	// What the pack is read for before all else, sentences before tables, larger
	// counts before smaller; zeros are hidden last.
	slices.SortStableFunc(q.cells, func(a, b *shown) int {
		switch {
		case a.turn() != b.turn():
			return a.turn() - b.turn()
		case a.value != b.value && better(a.value, b.value):
			return 1
		case a.value != b.value:
			return -1
		}
		return 0
	})
	s := newSpan(q.guarded)
	for _, sum := range q.sums {
		s.add(sum)
	}
	for _, c := range q.cells {
		if !c.isHidden() && !s.add(c.at) {
			c.hide()
		}
	}
}
