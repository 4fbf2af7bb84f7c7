package figure

import (
	"testing"

	"pgregory.net/rapid"
)

// TestLongRowsTellTheSame: a span whose rows are held by coordinate takes in, and
// refuses, what one takes in that holds them in order, and both tell the same.
func TestLongRowsTellTheSame(t *testing.T) {
	defer func(n int) { longTerms = n }(longTerms)
	rapid.Check(t, func(t *rapid.T) {
		const width = 12
		draw := func(name string) vector {
			var v vector
			for _, at := range rapid.SliceOfNDistinct(rapid.IntRange(0, width-1), 1, 7, rapid.ID).Draw(t, name) {
				x := uint32(1)
				if rapid.IntRange(0, 11).Draw(t, "other") == 0 {
					x = prime - 1
				}
				v = v.plus(unit(at), x)
			}
			return v
		}
		sizes := rapid.SliceOfN(rapid.SampledFrom([]int64{1, 1, 1, 2, 9}), width, width).Draw(t, "sizes")
		first := []vector{draw("first")}
		var guarded []vector
		for range rapid.IntRange(0, 8).Draw(t, "guarded") {
			guarded = append(guarded, unit(rapid.SliceOfNDistinct(rapid.IntRange(0, width-1), 1, 3, rapid.ID).Draw(t, "small")...))
		}
		made := func(terms int) *span {
			longTerms = terms
			s := newSpan(first)
			s.guard(guarded)
			s.watch(newGroups(sizes, guarded, 5))
			return s
		}
		// By 2 nearly all rows are long, by 8 some are and become short again.
		few := rapid.SampledFrom([]int{2, 8}).Draw(t, "long from")
		inOrder, byPlace := made(1000), made(few)
		for range rapid.IntRange(1, 20).Draw(t, "rows") {
			v := draw("row")
			longTerms = 1000
			want := inOrder.add(v)
			longTerms = few
			if got := byPlace.add(v); got != want {
				t.Fatalf("%v: taken in %v, wanted %v", v, got, want)
			}
		}
		for range 10 {
			v := draw("asked")
			if got, want := byPlace.tells(v), inOrder.tells(v); got != want {
				t.Fatalf("%v: told %v, wanted %v", v, got, want)
			}
		}
	})
}
