package figure

import "slices"

// Disclose hides every count from 1 to small−1, and what would give one away:
//
//   - a count that differs from another of its row by less than small;
//   - in a row or a column of counts with hidden cells that stand alone, or
//     that together are fewer than small, the next smallest (a reader may know
//     the line's total from another sentence), unless the figure explains all its
//     counts and Together sees what is known of that line;
//   - a share or number made from a hidden count;
//   - a value of the answer that is small, or repeats a hidden cell.
//
// Zeros stay, unless nothing else can cover a neighbour. small 0 or 1 hides
// nothing.
//
// It works within one figure; Together works over all figures of a pack.
func (f *Figure) Disclose(small int64) { Together([]*Figure{f}, nil, small) }

// mask says which cells are hidden, looking at this figure alone. Where meant,
// what the figure explains is left to the look over all figures, but for what is
// small itself.
func (f *Figure) mask(small int64, meant bool) *mask {
	explained := meant && f.explained()
	counts := countColumns(f.Points)
	hidden := make([][]bool, len(f.Rows))
	at := func(r, c int) int64 { n, _ := f.Rows[r][c].Value.(int64); return n }
	for r := range f.Rows {
		hidden[r] = make([]bool, len(f.Points))
		for _, c := range counts {
			hidden[r][c] = at(r, c) > 0 && at(r, c) < small
		}
	}
	type cell struct{ r, c int }
	var lines [][]cell
	for r := range f.Rows {
		if f.Apart || explained {
			break
		}
		var line []cell
		for _, c := range counts {
			if f.Points[c].Name != f.Total {
				line = append(line, cell{r, c})
			}
		}
		lines = append(lines, line)
	}
	for _, c := range counts {
		if f.Apart || explained {
			break
		}
		var line []cell
		for r := range f.Rows {
			line = append(line, cell{r, c})
		}
		lines = append(lines, line)
	}
	// Each pass hides at least one more cell or ends.
	for again := true; again; {
		again = false
		for _, line := range lines {
			for {
				n, sum, next := 0, int64(0), -1
				for i, x := range line {
					v := at(x.r, x.c)
					if hidden[x.r][x.c] {
						n++
						sum += v
						continue
					}
					if next < 0 || better(v, at(line[next].r, line[next].c)) {
						next = i
					}
				}
				if n == 0 || (n > 1 && sum >= small) || next < 0 {
					break
				}
				hidden[line[next].r][line[next].c] = true
				again = true
			}
		}
		// The rest of a count within another of its row tells as much as a
		// count of its own: 38 of 40 tells of two.
		for r := range f.Rows {
			if explained {
				break
			}
			for _, p := range f.pairs() {
				if hidden[r][p[0]] || hidden[r][p[1]] {
					continue
				}
				if rest := at(r, p[1]) - at(r, p[0]); rest > 0 && rest < small {
					hidden[r][p[0]] = true
					again = true
				}
			}
		}
	}
	taken := map[int64]bool{}
	for r := range f.Rows {
		for _, c := range counts {
			if hidden[r][c] {
				taken[at(r, c)] = true
			}
		}
	}
	return &mask{hidden, f.maskAnswer(small, taken, meant)}
}

// apply takes away what the mask hides, and what is made from it.
func (f *Figure) apply(m *mask) {
	for r := range f.Rows {
		for i, c := range f.Points {
			hide := m.points[r][i]
			for _, from := range c.From {
				hide = hide || m.points[r][f.Index(from)]
			}
			if hide {
				f.Rows[r][i] = Cell{Hidden: true}
				f.HiddenCells++
			}
		}
	}
	for i := range f.sums {
		f.sums[i].hidden = m.answers[f.sums[i].name]
	}
	for _, c := range f.Answer {
		gone := m.answers[c.Name]
		for _, from := range c.From {
			gone = gone || m.answers[from]
		}
		if gone {
			f.Values[c.Name] = Cell{Hidden: true}
			f.HiddenCells++
		}
	}
}

// unordered puts the rows whose count is hidden, of those that stand the commonest
// first, where they tell nothing: after those that are shown and before noughts, by
// name.
func (f *Figure) unordered() {
	if f.Commonest == "" {
		return
	}
	f.rests = nil // They are told by the place of their row.
	by, within := f.Index(f.Commonest), f.Index(f.Within)
	place := func(row []Cell) int {
		switch n, _ := row[by].Value.(int64); {
		case row[by].Hidden:
			return 1
		case n > 0:
			return 0
		}
		return 2
	}
	name := func(row []Cell) (name []string) {
		for i, c := range f.Points {
			if text, _ := row[i].Value.(string); c.Kind == Label {
				name = append(name, text)
			}
		}
		return name
	}
	for from := 0; from < len(f.Rows); {
		to := from + 1
		for to < len(f.Rows) && (within < 0 || f.Rows[to][within].Value == f.Rows[from][within].Value) {
			to++
		}
		slices.SortStableFunc(f.Rows[from:to], func(a, b []Cell) int {
			if place(a) != place(b) || place(a) != 1 {
				return place(a) - place(b)
			}
			return slices.Compare(name(a), name(b))
		})
		from = to
	}
}

// maskAnswer hides a value of the answer that is small, or repeats a hidden cell.
func (f *Figure) maskAnswer(small int64, taken map[int64]bool, meant bool) map[string]bool {
	hide := map[string]bool{}
	untold := f.Untold()
	for _, c := range f.Answer {
		told := !slices.Contains(untold, "answer "+c.Name)
		if n, ok := f.Values[c.Name].Value.(int64); ok && c.Kind == Count && n > 0 && (n < small || taken[n] && !(told && meant)) {
			hide[c.Name] = true
		}
	}
	n, hasN := f.Whole("n")
	of, hasOf := f.Whole("of")
	_, toldN := f.meaningOf("n", true)
	_, toldOf := f.meaningOf("of", true)
	// The rest of bags is no count of people.
	if hasN && hasOf && of > n && of-n < small && f.answerKind("n") == Count && !(meant && toldN && toldOf) {
		hide["n"] = true
	}
	return hide
}

// answerKind is the kind of a value of the answer, empty without one.
func (d *Definition) answerKind(name string) Kind {
	for _, c := range d.Answer {
		if c.Name == name {
			return c.Kind
		}
	}
	return ""
}

// pairs lists the columns of which one is a part of the other: those from
// which a share is made, part and whole.
func (f *Figure) pairs() [][2]int {
	var pairs [][2]int
	for _, c := range f.Points {
		if c.Kind == Share && len(c.From) == 2 {
			pairs = append(pairs, [2]int{f.Index(c.From[0]), f.Index(c.From[1])})
		}
	}
	return pairs
}

// better says that a is the better next cell to hide than b: the smaller, but
// zeros last.
func better(a, b int64) bool {
	if (a == 0) != (b == 0) {
		return b == 0
	}
	return a < b
}

func countColumns(columns []Column) []int {
	var counts []int
	for i, c := range columns {
		if c.Kind == Count {
			counts = append(counts, i)
		}
	}
	return counts
}
