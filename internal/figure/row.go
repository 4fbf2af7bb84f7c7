package figure

// row is a vector of a span: in order where it is short, else by coordinate, for a
// row of thousands of terms changes by a few at a time.
type row struct {
	short vector
	long  []uint32
	tally tally
}

// longTerms is how many terms make a row long; one that shrinks to a quarter of them
// is short again. Tests make it less.
var longTerms = 256

// tally is what is known of a long row without looking at each term: how many there
// are, how many of them have another coefficient than 1 and -1, and how many the
// groups are in all that have these.
type tally struct {
	terms, others int
	plus, minus   int64
}

// count takes in a term, or lets it go (by -1).
func (c *tally) count(at int32, x uint32, by int, g *groups) {
	if x == 0 {
		return
	}
	c.terms += by
	switch {
	case g == nil:
	case x == 1:
		c.plus += int64(by) * g.sizes[at]
	case x == prime-1:
		c.minus += int64(by) * g.sizes[at]
	default:
		c.others += by
	}
}

// newRow is the row of a vector, which it keeps; width is how many coordinates there
// are.
func newRow(v vector, width int, g *groups) row {
	if len(v) <= longTerms {
		return row{short: v}
	}
	r := row{long: make([]uint32, width)}
	for _, t := range v {
		r.long[t.at] = t.x
		r.tally.count(t.at, t.x, 1, g)
	}
	return r
}

// terms is how many terms the row has.
func (r *row) terms() int {
	if r.long == nil {
		return len(r.short)
	}
	return r.tally.terms
}

// find is the coefficient of a coordinate, 0 for none.
func (r *row) find(at int32) uint32 {
	if r.long == nil {
		return r.short.find(at)
	}
	if int(at) >= len(r.long) {
		return 0
	}
	return r.long[at]
}

// vector is the row in order.
func (r *row) vector() vector {
	if r.long == nil {
		return r.short
	}
	v := make(vector, 0, r.tally.terms)
	for at, x := range r.long {
		if x != 0 {
			v = append(v, term{int32(at), x})
		}
	}
	return v
}

// addTo adds x times the row to a table of coefficients.
func (r *row) addTo(table []uint32, x uint32) {
	for _, t := range r.short {
		table[t.at] = (table[t.at] + times(x, t.x)) % prime
	}
	for at, y := range r.long {
		if y != 0 {
			table[at] = (table[at] + times(x, y)) % prime
		}
	}
}

// toldWith says that the row would tell of a group what it may not with x times a
// vector added, and gives that sum, of a short row.
func (r *row) toldWith(v vector, x uint32, g *groups) (told bool, sum vector) {
	if r.long == nil {
		sum = r.short.plus(v, x)
		return g.told(sum), sum
	}
	if g == nil {
		return false, nil
	}
	after := r.tally
	for _, t := range v {
		old := r.find(t.at)
		after.count(t.at, old, -1, g)
		after.count(t.at, (old+times(x, t.x))%prime, 1, g)
	}
	if many := g.many(after.terms); after.others > 0 || after.plus >= many || after.minus >= many {
		return false, nil // As told finds, term by term.
	}
	return g.told(r.vector().plus(v, x)), nil
}

// add adds x times a vector to a long row.
func (r *row) add(v vector, x uint32, g *groups) {
	if n := len(v); n > 0 && int(v[n-1].at) >= len(r.long) {
		r.long = append(r.long, make([]uint32, int(v[n-1].at)+1-len(r.long))...)
	}
	for _, t := range v {
		old := r.long[t.at]
		r.long[t.at] = (old + times(x, t.x)) % prime
		r.tally.count(t.at, old, -1, g)
		r.tally.count(t.at, r.long[t.at], 1, g)
	}
	if r.tally.terms <= longTerms/4 {
		*r = row{short: r.vector()}
	}
}
