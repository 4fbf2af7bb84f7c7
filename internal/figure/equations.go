package figure

import (
	"fmt"
	"slices"
	"strings"
)

// equations are what the counts of a pack mean, as vectors.
type equations struct {
	cells []*shown
	// sums are vectors known to be zero: columns that add up to atoms.
	sums []vector
	// guarded are the vectors that must not be worked out; small those of them that
	// are cells.
	guarded, small []vector
	// sizes are how many each coordinate is.
	sizes []int64
	// lines are the rows and columns of figures, as the places of their cells; rows are
	// those of them that are rows.
	lines, rows [][]*shown
	// years are the last twelve months of columns by month: other figures sum them up.
	years [][]*shown
	// always is what the sums tell by themselves.
	always *span
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
		for _, t := range v {
			i := int(t.at)
			if of[i] = int64(t.x); t.x > prime/2 {
				of[i] -= prime
			}
		}
		return of
	}
	var all []Equation
	for _, c := range q.cells {
		name := fmt.Sprintf("%s answer %s", c.figure.Name, c.column)
		if !c.answer() {
			name = fmt.Sprintf("%s row %s %s", c.figure.Name, c.figure.rowName(c.row), c.column)
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
		for _, t := range v {
			n := alone[int(t.at)]
			if int(t.at) < len(a.sizes) {
				n = a.sizes[t.at]
			}
			if t.x > prime/2 {
				n = -n
			}
			sum += n
		}
		return sum
	}
	for _, c := range q.cells {
		if len(c.at) == 1 {
			if at := int(c.at[0].at); at >= len(a.sizes) {
				alone[at] = c.value
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
	q := &equations{sizes: slices.Clone(atoms.sizes)}
	// own is a coordinate of its own, for a count that no figure explains: one for all
	// panels of a figure. Of a nought there is nothing to know.
	taken := map[[3]string]int{}
	own := func(f *Figure, row, column string, value int64, ok bool) vector {
		at, found := taken[[3]string{f.Name, row, column}]
		if !found {
			at = len(q.sizes)
			taken[[3]string{f.Name, row, column}] = at
			q.sizes = append(q.sizes, value)
		}
		if ok && value == 0 {
			return vector{}
		}
		return unit(at)
	}
	for i, f := range figures {
		cells, places := map[[2]int]vector{}, map[[2]int]*shown{}
		counts, names := countColumns(f.Points), f.rowNames()
		for r, row := range f.Rows {
			for _, c := range counts {
				// A hidden count has lost its value, and still its place in sums.
				value, ok := row[c].Value.(int64)
				var at vector
				if m, told := f.meaningOf(f.Points[c].Name, false); told && !m.unnamed(f, row) && !atoms.before(f, m, row) {
					at = unit(atoms.of(f, m, row)...)
				} else {
					at = own(f, names[r], f.Points[c].Name, value, ok)
				}
				cells[[2]int{r, c}] = at
				if !ok {
					continue
				}
				one := &shown{figure: f, row: r, column: f.Points[c].Name, value: value, at: at, mask: masks[i]}
				q.cells, places[[2]int{r, c}] = append(q.cells, one), one
				if value > 0 && value < small {
					q.guarded, q.small = append(q.guarded, at), append(q.small, at)
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
		q.addLines(f, places, small)
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
				at = own(f, "answer", c.Name, value, ok)
			}
			for _, m := range f.sumsOf(c.Name) {
				q.sums = append(q.sums, total(f, cells, m.sumOf, m.where).less(at))
			}
			answers[c.Name] = at
			if !ok {
				continue
			}
			q.cells = append(q.cells, &shown{figure: f, row: -1, column: c.Name, value: value, at: at, mask: masks[i]})
			if value > 0 && value < small {
				q.guarded, q.small = append(q.guarded, at), append(q.small, at)
			}
		}
		for _, c := range f.Answer {
			if c.Kind == Share && len(c.From) == 2 {
				q.addRest(f, answers, c.From[0], c.From[1], small)
			}
		}
		q.addRest(f, answers, "n", "of", small)
		q.addSums(f, cells, places, masks[i], small)
	}
	return q
}

// addSums adds what makes the centre lines of a control chart: counts summed over the
// months of a baseline. Where a centre line's share is shown, so is the rest of it.
func (q *equations) addSums(f *Figure, cells map[[2]int]vector, places map[[2]int]*shown, m *mask, small int64) {
	over := make([]vector, len(f.sums))
	for i, sum := range f.sums {
		c := f.Index(sum.column)
		if f.Points[c].Kind != Count {
			continue
		}
		at, of := vector{}, []*shown{}
		for _, r := range sum.rows {
			at = at.plus(cells[[2]int{r, c}], 1)
			if one := places[[2]int{r, c}]; one != nil && one.value > 0 {
				of = append(of, one)
			}
		}
		if over[i] = at; sum.hidden || sum.value == 0 {
			continue
		}
		q.cells = append(q.cells, &shown{figure: f, row: -1, column: sum.name, value: sum.value, at: at, mask: m, foundation: of})
		q.years = append(q.years, of)
		if sum.value < small {
			q.guarded, q.small = append(q.guarded, at), append(q.small, at)
		}
	}
	for _, s := range f.stretches {
		part, whole := f.sums[s.n], f.sums[s.of]
		if rest := whole.value - part.value; over[s.n] != nil && over[s.of] != nil && rest > 0 && rest < small && !part.hidden && !whole.hidden {
			q.guarded = append(q.guarded, over[s.of].less(over[s.n]))
		}
	}
}

// rowNames names each row by its texts, whatever its place.
func (f *Figure) rowNames() (names []string) {
	seen := map[string]int{}
	for r := range f.Rows {
		name := f.rowName(r)
		if seen[name]++; seen[name] > 1 {
			name = fmt.Sprintf("%s (%d)", name, seen[name])
		}
		names = append(names, name)
	}
	return names
}

// rowName is what the texts of a row say.
func (f *Figure) rowName(r int) string {
	var texts []string
	for i, c := range f.Points {
		if text, _ := f.Rows[r][i].Value.(string); c.Kind.isText() {
			texts = append(texts, text)
		}
	}
	return fmt.Sprintf("%q", texts)
}

// addRest guards the small rest of a part of the answer and its whole.
func (q *equations) addRest(f *Figure, answers map[string]vector, part, whole string, small int64) {
	n, hasN := f.Whole(part)
	of, hasOf := f.Whole(whole)
	if hasN && hasOf && of > n && of-n < small && answers[part] != nil && answers[whole] != nil {
		q.guarded = append(q.guarded, answers[whole].less(answers[part]))
	}
}

// narrow is what two hidden counts must be together at least, where they are known
// together: of two each is one, and of three hardly more is open.
const narrow = 4

// addLines notes the rows and columns of a figure that it explains, and guards each
// two small counts of a row that are too few together, or as many as two small ones
// hardly can be.
func (q *equations) addLines(f *Figure, places map[[2]int]*shown, small int64) {
	if f.Apart || !f.explained() {
		return
	}
	counts := countColumns(f.Points)
	for r := range f.Rows {
		var line []*shown
		for _, c := range counts {
			if one := places[[2]int{r, c}]; one != nil && one.value > 0 && one.column != f.Total {
				for _, other := range line {
					sum, most := one.value+other.value, 2*(small-1)
					bothSmall := max(one.value, other.value) < small
					if sum < min(small, narrow) || bothSmall && most-sum+1 < leeway(small) {
						q.guarded = append(q.guarded, one.at.plus(other.at, 1))
					}
				}
				line = append(line, one)
			}
		}
		q.lines, q.rows = append(q.lines, line), append(q.rows, line)
	}
	for _, c := range counts {
		var line, year []*shown
		for r := range f.Rows {
			if one := places[[2]int{r, c}]; one != nil && one.value > 0 {
				line = append(line, one)
				if len(f.Rows)-r <= 12 {
					year = append(year, one)
				}
			}
		}
		q.lines = append(q.lines, line)
		if f.Points[0].Kind == Month {
			q.years = append(q.years, year)
		}
	}
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
			sum = sum.plus(cells[[2]int{r, f.Index(name)}], 1)
		}
	}
	return sum
}
