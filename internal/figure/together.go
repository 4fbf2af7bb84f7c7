package figure

import "slices"

// Together discloses all figures of a pack at once. Each is masked by itself
// (see Disclose); then no count under small, and no rest of a share under it,
// may follow from the counts that stay in sight by adding and subtracting,
// whichever figures they stand in: as far as figures say what they count (their
// means), and that columns add up to it. Where one would, the next smallest
// count that gives it away is hidden too.
//
// It is the question whether a vector lies in the span of others. A count is a
// vector over groups of episodes (atoms); a count that the figure does not
// explain is a coordinate of its own. Counts are shown one by one, those of
// sentences first, then the larger before the smaller; one whose showing would
// bring a protected vector into the span of those shown is hidden instead.
func Together(figures []*Figure, atoms *Atoms, small int64) {
	if small <= 1 {
		return
	}
	masks := make([]*mask, len(figures))
	for i, f := range figures {
		masks[i] = f.mask(small)
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
	value  int64
	answer bool
	at     vector
	hidden *bool
	// name is the answer's, whose hidden flag lies in a map.
	name string
	mask *mask
}

func (s *shown) isHidden() bool {
	if s.answer {
		return s.mask.answers[s.name]
	}
	return *s.hidden
}

func (s *shown) hide() {
	if s.answer {
		s.mask.answers[s.name] = true
	} else {
		*s.hidden = true
	}
}

// equations are what the counts of a pack mean, as vectors.
type equations struct {
	cells []*shown
	// sums are vectors known to be zero: columns that add up to atoms.
	sums []vector
	// guarded are the vectors that must not be worked out.
	guarded []vector
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
				value, ok := row[c].Value.(int64)
				if !ok {
					continue
				}
				var at vector
				if m, told := f.meaningOf(f.Points[c].Name, false); told {
					at = unit(atoms.of(f, m, row)...)
				} else {
					at = unit(next)
					next++
				}
				cells[[2]int{r, c}] = at
				q.cells = append(q.cells, &shown{value: value, at: at, hidden: &masks[i].points[r][c], mask: masks[i]})
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
		for _, m := range f.means {
			if !m.inRows {
				continue
			}
			sum := vector{}
			for r := range f.Rows {
				for _, name := range m.columns {
					for k, x := range cells[[2]int{r, f.Index(name)}] {
						sum[k] = plus(sum[k], x)
					}
				}
			}
			q.sums = append(q.sums, sum.less(unit(atoms.of(f, m, nil)...)))
		}
		answers := map[string]vector{}
		for _, c := range f.Answer {
			value, ok := f.Values[c.Name].Value.(int64)
			if !ok || c.Kind != Count {
				continue
			}
			var at vector
			if m, told := f.meaningOf(c.Name, true); told {
				at = unit(atoms.of(f, m, nil)...)
			} else {
				at = unit(next)
				next++
			}
			answers[c.Name] = at
			q.cells = append(q.cells, &shown{value: value, at: at, answer: true, name: c.Name, mask: masks[i]})
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

func across(figures []*Figure, masks []*mask, atoms *Atoms, small int64) {
	q := equationsOf(figures, masks, atoms, small)
	// Sentences before tables, larger counts before smaller; zeros are hidden last.
	slices.SortStableFunc(q.cells, func(a, b *shown) int {
		switch {
		case a.answer != b.answer:
			if a.answer {
				return -1
			}
			return 1
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
