package figure

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
// foremost figure first, then those of sentences, those that are large and stand in
// many places before the others; one whose showing would bring a protected vector
// into the span of those shown is hidden instead, wherever it stands. Protected are
// small counts, the rests of shares, two small counts of a row together, and what is
// hidden of a row or column as a whole where that is small. Noughts are no secret.
//
// A reader knows also that nobody is fewer than none and that what is hidden is one at
// least (see reader): of a small count three values stay possible, of those from one to
// under small, or three ways to share a known sum among several.
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
		f.unordered()
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
	// foundation are, of what makes a chart's centre line, the counts that it sums.
	foundation []*shown
}

func (s *shown) answer() bool { return s.row < 0 }

// turn orders the counts by how dearly they would be missed.
func (s *shown) turn() int {
	switch {
	case s.foundation != nil:
		// A centre line may come from fewer months: nothing is hidden for it.
		return 6
	case s.figure.Foremost && s.answer() && (s.column == "n" || s.column == "of"):
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
