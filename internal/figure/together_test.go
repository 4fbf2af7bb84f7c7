package figure

import (
	"context"
	"fmt"
	"math/big"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"thawline/internal/engine"
)

// rational is a solver of linear equations over the fractions, written for the
// tests alone: what an attacker with paper would do with every number shown.
type rational struct{ rows [][]*big.Rat }

func dense(of map[int]int64, width int) []*big.Rat {
	v := make([]*big.Rat, width)
	for i := range v {
		v[i] = new(big.Rat).SetInt64(of[i])
	}
	return v
}

func (q *rational) reduce(v []*big.Rat) int {
	for _, row := range q.rows {
		at := 0
		for row[at].Sign() == 0 {
			at++
		}
		if v[at].Sign() != 0 {
			x := new(big.Rat).Set(v[at])
			for i := range v {
				v[i].Sub(v[i], new(big.Rat).Mul(x, row[i]))
			}
		}
	}
	for i := range v {
		if v[i].Sign() != 0 {
			return i
		}
	}
	return -1
}

func (q *rational) add(v []*big.Rat) {
	if at := q.reduce(v); at >= 0 {
		x := new(big.Rat).Inv(v[at])
		for i := range v {
			v[i].Mul(v[i], x)
		}
		q.rows = append(q.rows, v)
	}
}

// exposed lists the guarded counts of before that follow from after.
func exposed(before, after []Equation) []string {
	width := 0
	for _, e := range append(append([]Equation{}, before...), after...) {
		for i := range e.Of {
			width = max(width, i+1)
		}
	}
	q := &rational{}
	for _, e := range after {
		q.add(dense(e.Of, width))
	}
	var names []string
	for _, e := range before {
		if e.Guarded && q.reduce(dense(e.Of, width)) < 0 {
			names = append(names, e.Count)
		}
	}
	return names
}

// hospital makes a table of invented episodes and five figures over it that
// share numbers: marks by month, the share of good ones, reasons, places, and steps
// of two ladders.
func hospital(t *testing.T, e *engine.Engine, seed uint64, episodes int) ([]*Figure, *Atoms) {
	t.Helper()
	ctx := context.Background()
	r := rand.New(rand.NewPCG(seed, 1))
	var rows []string
	for i := range episodes {
		mark := []string{"good", "good", "good", "poor", "poor", "bad"}[r.IntN(6)]
		rows = append(rows, fmt.Sprintf("(%d, '2026-0%d', '%s', '%s because %d', 'ward %d')", i, 1+r.IntN(3), mark, mark, r.IntN(3), r.IntN(4)))
	}
	if err := e.Exec(ctx, "invented", "CREATE OR REPLACE TABLE counted_episodes AS SELECT * FROM (VALUES "+strings.Join(rows, ", ")+") AS v(episode_id, month, mark, because, place); CREATE OR REPLACE VIEW episodes AS FROM counted_episodes"); err != nil {
		t.Fatal(err)
	}
	// Each step takes some of the good ones, the second those of the first too.
	if err := e.Exec(ctx, "invented", `CREATE OR REPLACE TABLE judged_again AS
SELECT tried, episode_id, CASE WHEN mark = 'good' AND (episode_id * 7919) % 100 < taken THEN 'poor' ELSE mark END AS new_mark
FROM episodes, (VALUES ('floor=1', 0), ('floor=2', 10), ('floor=3', 18), ('limit=1', 0), ('limit=2', 25)) AS v(tried, taken)`); err != nil {
		t.Fatal(err)
	}
	var figures []*Figure
	for name, text := range map[string]string{
		"marks": `-- marks: What?
--
-- reads:     episodes
-- points:    month: month; Month
--            good: count; Good
--            poor: count; Poor
--            bad: count; Bad
-- answer:    of: count; All
-- means:     good: month, mark good
--            poor: month, mark poor
--            bad: month, mark bad
--            answer of: history
SELECT month, count(*) FILTER (mark = 'good') AS good, count(*) FILTER (mark = 'poor') AS poor, count(*) FILTER (mark = 'bad') AS bad FROM episodes GROUP BY month ORDER BY month
-- answer
SELECT count(*) AS of FROM episodes`,
		"share": `-- share: What?
--
-- reads:     episodes
-- points:    month: month; Month
--            good: count; Good
--            judged: count; Judged
--            share: share of good, judged; Share
-- answer:    n: count; Good
--            of: count; Judged
-- means:     good: month, mark good
--            judged: month, mark good|poor
--            answer n: period, mark good
--            answer of: period, mark not bad
SELECT month, count(*) FILTER (mark = 'good') AS good, count(*) FILTER (mark <> 'bad') AS judged, count(*) FILTER (mark = 'good') / greatest(count(*) FILTER (mark <> 'bad'), 1) AS share FROM episodes GROUP BY month ORDER BY month
-- answer
SELECT count(*) FILTER (mark = 'good') AS n, count(*) FILTER (mark <> 'bad') AS of FROM episodes WHERE month = '2026-03'`,
		"reasons": `-- reasons: What?
--
-- reads:     episodes
-- points:    because: label; Because
--            episodes: count; Episodes
-- answer:    of: count; All
--            first: count; For the first two reasons
-- means:     episodes: period, by because
--            answer of: period
--            answer first: sum of episodes where because good because 0|good because 1
SELECT because, count(*) AS episodes FROM episodes WHERE month = '2026-03' GROUP BY because ORDER BY because
-- answer
SELECT sum(points.episodes)::BIGINT AS of, coalesce(sum(points.episodes) FILTER (points.because IN ('good because 0', 'good because 1')), 0)::BIGINT AS first FROM points`,
		"steps": `-- steps: What if?
--
-- reads:     judged_again
-- points:    tried: label; Tried
--            good: count; Good
-- answer:    second: count; Good at the second step
-- means:     good: history, new_mark@tried good
--            answer second: history, new_mark@floor=2 good
-- steps:     tried
-- adds up:   no
SELECT tried, count(*) FILTER (new_mark = 'good') AS good FROM judged_again GROUP BY tried ORDER BY tried
-- answer
SELECT max(points.good) FILTER (points.tried = 'floor=2') AS second FROM points`,
		"places": `-- places: What?
--
-- reads:     episodes
-- points:    ward: label; Place
--            good: count; Good
--            rest: count; Rest
-- answer:    n: count; Good
-- means:     good: history, mark good, in rows
--            good + rest: history, in rows
--            answer n: sum of good
SELECT place AS ward, count(*) FILTER (mark = 'good') AS good, count(*) FILTER (mark <> 'good') AS rest FROM episodes GROUP BY place ORDER BY place
-- answer
SELECT sum(points.good)::BIGINT AS n FROM points`,
	} {
		d, err := Parse(name+".sql", text)
		if err != nil {
			t.Fatal(err)
		}
		f, err := d.Run(ctx, e)
		if err != nil {
			t.Fatal(err)
		}
		figures = append(figures, f)
	}
	sortFigures(figures)
	atoms, err := LoadAtoms(ctx, e, figures, Spans{From: "2026-03", To: "2026-03", YearFrom: "2026-01", HistoryFrom: "2026-01"})
	if err != nil {
		t.Fatal(err)
	}
	return figures, atoms
}

func sortFigures(figures []*Figure) {
	for i := range figures {
		for j := i; j > 0 && figures[j].Name < figures[j-1].Name; j-- {
			figures[j], figures[j-1] = figures[j-1], figures[j]
		}
	}
}

// TestNobodyWorksOutAHiddenCount: every figure by itself hides enough, and still
// the attacker finds small counts from several together; disclosed together,
// none.
func TestNobodyWorksOutAHiddenCount(t *testing.T) {
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	alone, hidden, counts, steps := 0, 0, 0, 0
	for seed := range uint64(60) {
		episodes := 15 + int(seed)*4
		figures, atoms := hospital(t, e, seed, episodes)
		before := Equations(figures, atoms, 5)
		for _, f := range figures {
			f.Disclose(5)
		}
		if found := exposed(before, Equations(figures, atoms, 5)); len(found) > 0 {
			alone++
		}
		figures, atoms = hospital(t, e, seed, episodes)
		Together(figures, atoms, 5)
		after := Equations(figures, atoms, 5)
		if found := exposed(before, after); len(found) > 0 {
			t.Errorf("seed %d: worked out from the pack: %v", seed, found)
		}
		for _, equation := range before {
			if strings.Contains(equation.Count, "less row") {
				steps++
			}
		}
		counts += len(before)
		hidden += len(before) - len(after)
	}
	if alone == 0 {
		t.Error("figures disclosed one by one gave nothing away: the test proves nothing")
	}
	if steps < 20 {
		t.Errorf("%d small differences between steps: the test proves little", steps)
	}
	// Hiding everything would pass too.
	if hidden*3 > counts {
		t.Errorf("%d of %d counts are hidden: far more than needed", hidden, counts)
	}
	t.Logf("one by one %d of 60 packs gave a count away; together none, with %d of %d counts hidden", alone, hidden, counts)
}

// TestSpanAgreesWithFractions compares the span over the prime field with the
// solver over fractions on random vectors.
func TestSpanAgreesWithFractions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		width := rapid.IntRange(1, 8).Draw(t, "width")
		draw := func(name string) map[int]int64 {
			of := map[int]int64{}
			for i := range width {
				if x := rapid.Int64Range(-1, 1).Draw(t, name); x != 0 {
					of[i] = x
				}
			}
			return of
		}
		field := func(of map[int]int64) vector {
			v := vector{}
			for i, x := range of {
				v = v.plus(unit(i), uint32((x+prime)%prime))
			}
			return v
		}
		s, q := newSpan(nil), &rational{}
		for range rapid.IntRange(0, 8).Draw(t, "rows") {
			of := draw("row")
			s.add(field(of))
			q.add(dense(of, width))
		}
		target := draw("target")
		if inField, inFractions := len(s.reduced(field(target))) == 0, q.reduce(dense(target, width)) < 0; inField != inFractions {
			t.Fatalf("target %v: in the span over the field %v, over fractions %v", target, inField, inFractions)
		}
	})
}

func TestFaultsOfMeans(t *testing.T) {
	good := "-- a: Why?\n--\n-- reads:     episodes\n-- points:    month: month; X\n--            n: count; N\n-- answer:    n: count; N\n-- means:     n: month, mark good|poor\n--            answer n: period\nSELECT 1\n-- answer\nSELECT 2\n"
	if _, err := Parse("a.sql", good); err != nil {
		t.Fatal(err)
	}
	for wanted, line := range map[string]string{
		"a.sql:7: \"n\" is no meaning":                              "n",
		"a.sql:7: \"n: mark good\" names no time":                   "n: mark good",
		"a.sql:7: \"Mark\" is no condition":                         "n: month, Mark",
		"a.sql:7: \"answer n: period, mark@tried good\": goes by w": "answer n: period, mark@tried good",
		"a.sql: means of n goes by \"tried\"":                       "n: period, mark@tried good",
		"a.sql:7: \"n + m: month\": a sum of columns":               "n + m: month",
		"a.sql:7: \"answer n: month\": a sum of columns":            "answer n: month",
		"a.sql: means tells of \"q\", which is no count":            "q: month",
		"a.sql: means of n goes by \"because\"":                     "n: period, by because",
		"a.sql: means of n is a sum of \"q\", which is no count c":  "answer n: sum of q",
		"a.sql:7: \"answer n: three months\": a sum of columns":     "answer n: three months",
		"a.sql:7: \"of Calls\" is no condition":                     "n: month, of Calls",
		"a.sql:7: \"n: month, of calls, mark@tried x\": only epis":  "n: month, of calls, mark@tried x",
		"a.sql:7: \"because\" is no condition":                      "answer n: sum of n where because",
		"a.sql: means of n is a sum where \"because\"":              "answer n: sum of n where because x",
		"a.sql: means of n goes by \"step\"":                        "n: period, of calls, @step true",
	} {
		text := strings.Replace(strings.Replace(good, "n: month, mark good|poor", line, 1), "--            answer n: period\n", "", 1)
		if _, err := Parse("a.sql", text); err == nil || !strings.Contains(err.Error(), wanted) {
			t.Errorf("%q: wanted an error with %q, got %v", line, wanted, err)
		}
	}
}

// TestAnAnswerThatIsASumOfRows: 33 at two places of which one shows 30 tells of the 3
// that the other hides; so it does where the sum is told beside another meaning.
func TestAnAnswerThatIsASumOfRows(t *testing.T) {
	text := `-- a: Where?
--
-- reads:     episodes
-- points:    place: label; Place
--            episodes: count; Episodes
-- answer:    n: count; At both
-- means:     MEANING
SELECT 1
-- answer
SELECT 2
`
	leaks := func(meaning string) bool {
		d := parsed(t, strings.Replace(text, "MEANING", meaning, 1))
		f := &Figure{Definition: d, Values: map[string]Cell{"n": {Value: int64(33)}}}
		for _, row := range []struct {
			place    string
			episodes int64
		}{{"here", 30}, {"there", 3}, {"elsewhere", 6}} {
			f.Rows = append(f.Rows, []Cell{{Value: row.place}, {Value: row.episodes}})
		}
		Together([]*Figure{f}, &Atoms{}, 5)
		return !f.Values["n"].Hidden && !f.Rows[0][1].Hidden
	}
	for meaning, wanted := range map[string]bool{
		"answer n: sum of episodes where place elsewhere":                                          true,
		"answer n: sum of episodes where place here|there":                                         false,
		"answer n: sum of episodes where place none of elsewhere":                                  false,
		"answer n: history\n--            answer n: sum of episodes where place none of elsewhere": false,
	} {
		if leaks(meaning) != wanted {
			t.Errorf("%q: the small count can be worked out %t, wanted %t", meaning, !wanted, wanted)
		}
	}
}

// TestTheRestOfARow: what is hidden of a row is drawn as long as it is only where the
// page tells that anyway.
func TestTheRestOfARow(t *testing.T) {
	text := `-- a: Who?
--
-- reads:     episodes
-- points:    place: label; Place
--            young: count; Young
--            old: count; Old
--            oldest: count; Oldest
-- answer:    n: count; Here
-- means:     young: alone, invented
--            old: alone, invented
--            oldest: alone, invented
--            answer n: MEANING
SELECT 1
-- answer
SELECT 2
`
	for meaning, wanted := range map[string]bool{"sum of young + old + oldest": true, "alone, it counts another thing": false} {
		d := parsed(t, strings.Replace(text, "MEANING", meaning, 1))
		f := &Figure{Definition: d, Values: map[string]Cell{"n": {Value: int64(36)}}, Rows: [][]Cell{{{Value: "here"}, {Value: int64(30)}, {Value: int64(4)}, {Value: int64(2)}}}}
		Together([]*Figure{f}, &Atoms{}, 5)
		if !f.Rows[0][2].Hidden || !f.Rows[0][3].Hidden || f.Rows[0][1].Hidden {
			t.Errorf("%q: hidden are not the small counts, and those alone: %v", meaning, f.Rows[0])
		}
		rest, told := f.Rest(0)
		if told != wanted || told && rest != 6 {
			t.Errorf("%q: the rest is %d, told %t", meaning, rest, told)
		}
	}
}

// TestTheFirstColumnsAreTold: where the judged are told and those that are not judged
// are not, what is hidden of the judged has a length, and the rest of the row has none;
// it is never small.
func TestTheFirstColumnsAreTold(t *testing.T) {
	text := `-- a: Who?
--
-- reads:     episodes
-- points:    place: label; Place
--            good: count; Good
--            low: count; Low
--            none: count; None
--            lost: count; Lost
--            back: count; Back
-- answer:    n: count; Judged
-- means:     good: alone, invented
--            low: alone, invented
--            none: alone, invented
--            lost: alone, invented
--            back: alone, invented
--            answer n: sum of good + low + none
SELECT 1
-- answer
SELECT 2
`
	d := parsed(t, text)
	// 4 and 3 are nearly known by their sum, and 2 and 1 a small count together: then
	// more is hidden, and the sum is that of more.
	for counts, wanted := range map[[3]int64]int64{{30, 4, 3}: 37, {30, 2, 1}: 33, {30, 3, 11}: 14, {30, 7, 11}: 0} {
		f := &Figure{Definition: d, Values: map[string]Cell{"n": {Value: counts[0] + counts[1] + counts[2]}},
			Rows: [][]Cell{{{Value: "here"}, {Value: counts[0]}, {Value: counts[1]}, {Value: counts[2]}, {Value: int64(2)}, {Value: int64(3)}}}}
		Together([]*Figure{f}, &Atoms{}, 5)
		sum := int64(0)
		for i, n := range counts {
			if f.Rows[0][1+i].Hidden {
				sum += n
			}
		}
		n, all := f.Rest(0)
		if n != wanted || sum != wanted || all || f.Values["n"].Hidden {
			t.Errorf("%v: hidden of the judged are %d, and told %d (of all %t), wanted %d of the judged: %v", counts, sum, n, all, wanted, f.Rows[0])
		}
	}
}

// TestOneAndOneAreTwo: two hidden counts that are known to be two together are known;
// and so, nearly, are others of which the sum leaves fewer than three ways.
func TestOneAndOneAreTwo(t *testing.T) {
	text := `-- a: Who?
--
-- reads:     episodes
-- points:    place: label; Place
--            lost: count; Lost
--            back: count; Back
--            given: count; Given
-- answer:    of: count; All
--            given: count; Given
-- means:     lost: alone, invented
--            back: alone, invented
--            given: alone, invented
--            answer of: sum of lost + back + given
--            answer given: sum of given
SELECT 1
-- answer
SELECT 2
`
	d := parsed(t, text)
	// 1 and 3 are a small count together; 4 and 4 are the only two under five that are
	// eight, and 4 and 3 nearly.
	for pair, wanted := range map[[2]int64]bool{{1, 1}: true, {1, 2}: true, {1, 3}: true, {4, 1}: false, {4, 2}: false, {4, 3}: true, {4, 4}: true, {5, 3}: false} {
		f := &Figure{Definition: d, Values: map[string]Cell{"of": {Value: 51 + pair[0] + pair[1]}, "given": {Value: int64(51)}},
			Rows: [][]Cell{{{Value: "here"}, {Value: pair[0]}, {Value: pair[1]}, {Value: int64(51)}}}}
		Together([]*Figure{f}, &Atoms{}, 5)
		if hidden := f.Values["of"].Hidden || f.Values["given"].Hidden; hidden != wanted {
			t.Errorf("lost %d, back %d: all or those given are hidden %t, wanted %t", pair[0], pair[1], hidden, wanted)
		}
		if f.Values["given"].Hidden != f.Rows[0][3].Hidden {
			t.Errorf("lost %d, back %d: the sentence hides those given %t, the table %t", pair[0], pair[1], f.Values["given"].Hidden, f.Rows[0][3].Hidden)
		}
	}
}
