package figure

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"thawline/internal/engine"
)

// TestToldOfAGroup: what may be told of a group with small counts in it, from one row
// of a span; the first coordinates are a small count each, or several one.
func TestToldOfAGroup(t *testing.T) {
	signed := func(plus, minus []int) vector { return unit(plus...).less(unit(minus...)) }
	for _, c := range []struct {
		what        string
		sizes       []int64
		small       [][]int
		plus, minus []int
		wanted      bool
	}{
		{"one or two", []int64{1, 1}, [][]int{{0}}, []int{0, 1}, nil, true},
		{"one to three", []int64{1, 2}, [][]int{{0}}, []int{0, 1}, nil, false},
		{"one and two", []int64{1, 2}, [][]int{{0}, {1}}, []int{0, 1}, nil, true},
		{"two are four", []int64{1, 3}, [][]int{{0}, {1}}, []int{0, 1}, nil, false},
		{"three are three", []int64{1, 1, 1}, [][]int{{0}, {1}, {2}}, []int{0, 1, 2}, nil, true},
		{"three are four", []int64{1, 2, 1}, [][]int{{0}, {1}, {2}}, []int{0, 1, 2}, nil, false},
		{"two are six", []int64{3, 3}, [][]int{{0}, {1}}, []int{0, 1}, nil, false},
		{"two are seven", []int64{4, 3}, [][]int{{0}, {1}}, []int{0, 1}, nil, true},
		{"two and others are seven", []int64{3, 3, 1}, [][]int{{0}, {1}}, []int{0, 1, 2}, nil, false},
		{"three are eleven", []int64{4, 4, 3}, [][]int{{0}, {1}, {2}}, []int{0, 1, 2}, nil, false},
		{"three are twelve", []int64{4, 4, 4}, [][]int{{0}, {1}, {2}}, []int{0, 1, 2}, nil, true},
		{"three of three or four", []int64{3, 1}, [][]int{{0, 1}}, []int{0}, nil, true},
		{"two of two to four", []int64{2, 1}, [][]int{{0, 1}}, []int{0}, nil, false},
		{"three more than others", []int64{4, 1}, [][]int{{0}}, []int{0}, []int{1}, true},
		{"two more than a small one", []int64{3, 1}, [][]int{{0}, {1}}, []int{0}, []int{1}, true},
		{"two more than others", []int64{3, 1}, [][]int{{0}}, []int{0}, []int{1}, false},
		{"others are three fewer", []int64{4, 1}, [][]int{{0}}, []int{1}, []int{0}, true},
	} {
		var small []vector
		for _, one := range c.small {
			small = append(small, unit(one...))
		}
		if got := newGroups(c.sizes, small, 5).told(signed(c.plus, c.minus)); got != c.wanted {
			t.Errorf("%s: told too much %t, wanted %t", c.what, got, c.wanted)
		}
	}
}

// TestNearlyKnown: episodes given, less those judged, are those that could not be judged
// but for a few of unknown fate: three of four, which then are three or four; two of
// three leave one more.
func TestNearlyKnown(t *testing.T) {
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	header := `-- a: What?
--
-- reads:     episodes
-- points:    month: month; Month
--            n: count; N
-- answer:    none: units; None
-- means:     n: month, %s
SELECT month, count(*) FILTER (%s) AS n FROM episodes GROUP BY month
-- answer
SELECT 0 AS none`
	for unjudged, wanted := range map[int]bool{2: false, 3: true} {
		if err := e.Exec(ctx, "invented", fmt.Sprintf(`CREATE OR REPLACE TABLE counted_episodes AS
SELECT n AS episode_id, '2026-03' AS month, CASE WHEN n < 38 THEN 'judged' ELSE 'undetermined' END AS mark, CASE WHEN n < 38 + %d THEN 'given' ELSE 'unknown' END AS fate
FROM range(39 + %d) AS numbers(n); CREATE OR REPLACE VIEW episodes AS FROM counted_episodes`, unjudged, unjudged)); err != nil {
			t.Fatal(err)
		}
		var figures []*Figure
		for name, column := range map[string]string{"judged": "mark", "undetermined": "mark", "given": "fate"} {
			d := parsed(t, fmt.Sprintf(header, column+" "+name, column+" = '"+name+"'"))
			f, err := d.Run(ctx, e)
			if err != nil {
				t.Fatal(err)
			}
			d.Name = name
			figures = append(figures, f)
		}
		sortFigures(figures)
		atoms, err := LoadAtoms(ctx, e, figures, Spans{From: "2026-03", To: "2026-03", YearFrom: "2026-01", HistoryFrom: "2026-01"})
		if err != nil {
			t.Fatal(err)
		}
		if wrong := atoms.Wrong(figures); len(wrong) > 0 {
			t.Fatal(strings.Join(wrong, "; "))
		}
		Together(figures, atoms, 5)
		given, judged, undetermined := figures[0].Rows[0][1], figures[1].Rows[0][1], figures[2].Rows[0][1]
		if !undetermined.Hidden {
			t.Errorf("%d and one: undetermined are shown", unjudged)
		}
		if hidden := given.Hidden || judged.Hidden; hidden != wanted {
			t.Errorf("%d and one undetermined: those given or judged are hidden %t, wanted %t", unjudged, hidden, wanted)
		}
	}
}

// TestBoundsOfAReader: a hidden count is known through others that are bounded.
func TestBoundsOfAReader(t *testing.T) {
	// Of ten in three hidden counts the first two are seven and the last two six: so the
	// middle one is three.
	sizes := []int64{4, 3, 3}
	var hidden []*hiddenCount
	for i, size := range sizes {
		hidden = append(hidden, &hiddenCount{at: unit(i), small: size < 5})
	}
	for rows, wanted := range map[string][2]int64{
		"all":             {1, 8},
		"all, first two":  {1, 6},
		"all, both pairs": {3, 3},
	} {
		s := newSpan([]vector{unit(0, 1, 2)})
		if strings.Contains(rows, "two") || strings.Contains(rows, "both") {
			s.add(unit(0, 1))
		}
		if strings.Contains(rows, "both") {
			s.add(unit(1, 2))
		}
		r := newReader(sizes, s, nil, hidden)
		r.narrow()
		if got := [2]int64{hidden[1].low, hidden[1].high}; got != wanted {
			t.Errorf("%s: the middle one is %v, wanted %v", rows, got, wanted)
		}
		if narrow := len(r.tooNarrow(5)) > 0; narrow != (rows != "all") {
			t.Errorf("%s: too narrow %t", rows, narrow)
		}
	}
}
