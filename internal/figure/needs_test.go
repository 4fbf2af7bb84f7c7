package figure

import (
	"strings"
	"testing"
)

const needsFigure = `-- a: Why?
--
-- reads:     episodes
-- points:    what: label; What
--            n: count; N
--            given: units; Given
-- answer:    n: count; N
--            of: count; Of
-- needs:     n: events or patients
--            n + given where what none of told: measures
--            answer n: events
SELECT 1
-- answer
SELECT 2
`

// A nought is taken away where each feed lacks that could have filled it, in the rows
// that it holds for; a number that somebody counted stays, and so does what is hidden.
func TestForget(t *testing.T) {
	d, err := Parse("a.sql", needsFigure)
	if err != nil {
		t.Fatal(err)
	}
	made := func() *Figure {
		return &Figure{Definition: d, Values: map[string]Cell{"n": {Value: int64(0)}, "of": {Value: int64(0)}}, Rows: [][]Cell{
			{{Value: "told"}, {Value: int64(0)}, {Value: int64(0)}},
			{{Value: "other"}, {Value: int64(0)}, {Value: int64(7)}},
			{{Value: "other"}, {Hidden: true}, {Value: int64(0)}},
		}}
	}
	for name, c := range map[string]struct {
		lacking []string
		wanted  string
	}{
		"nothing":         {nil, "0 0|0 7|hidden 0 n 0 of 0"},
		"one of two":      {[]string{"events"}, "0 0|0 7|hidden 0 n – of 0"},
		"both":            {[]string{"events", "patients"}, "– 0|– 7|hidden 0 n – of 0"},
		"of some rows":    {[]string{"measures"}, "0 0|– 7|hidden – n 0 of 0"},
		"of another feed": {[]string{"labs"}, "0 0|0 7|hidden 0 n 0 of 0"},
	} {
		f, lacking := made(), map[string]bool{}
		for _, feed := range c.lacking {
			lacking[feed] = true
		}
		f.Forget(lacking)
		var rows []string
		for _, row := range f.Rows {
			rows = append(rows, Format{}.Cell(d.Points[1], row[1])+" "+Format{}.Cell(d.Points[2], row[2]))
		}
		got := strings.Join(rows, "|") + " n " + Format{}.Cell(d.Answer[0], f.Values["n"]) + " of " + Format{}.Cell(d.Answer[1], f.Values["of"])
		if got != c.wanted {
			t.Errorf("%s: %s, wanted %s", name, got, c.wanted)
		}
	}
}

func TestNeedsAreStrict(t *testing.T) {
	for wrong, wanted := range map[string]string{
		"n: event":                        "is no feed",
		"n events":                        "is no need",
		"what: events":                    "no count and no number",
		"answer given: events":            "no count and no number",
		"n where n 0: events":             "no label",
		"answer n where what x: events":   "is no need",
		"n where why none of x: measures": "no label",
	} {
		text := strings.Replace(needsFigure, "n: events or patients", wrong, 1)
		if _, err := Parse("a.sql", text); err == nil || !strings.Contains(err.Error(), wanted) {
			t.Errorf("%q: %v, wanted an error with %q", wrong, err, wanted)
		}
	}
}

// What stands in the place of a sentence, and what is added, hangs on the feeds.
func TestSayWithout(t *testing.T) {
	f := &Figure{Definition: &Definition{Answer: []Column{{Name: "of", Kind: Count}}}, Values: map[string]Cell{"of": {Value: int64(3)}}}
	p := Panel{Says: "{of} were.", SaysNone: "None was.", Without: []Without{
		{Feed: "events", Says: "{of} as told.", SaysNone: "None as told."}, {Feed: "measures", Adds: "By guess."}, {Feed: "labs", Says: "Who knows.", Nothing: true}}}
	say := func(of int64, lacking ...string) string {
		f.Values["of"] = Cell{Value: of}
		when := When{Lacking: map[string]bool{}}
		for _, feed := range lacking {
			when.Lacking[feed] = true
		}
		return f.Say(p, Format{}, when)
	}
	for got, wanted := range map[string]string{
		say(3): "3 were.", say(0): "None was.",
		say(3, "events"): "3 as told.", say(0, "events"): "None as told.",
		say(3, "measures"): "3 were. By guess.", say(0, "measures"): "None was.",
		say(3, "events", "measures"): "3 as told. By guess.",
		say(3, "labs", "measures"):   "Who knows.", say(0, "labs"): "Who knows.",
	} {
		if got != wanted {
			t.Errorf("%q, wanted %q", got, wanted)
		}
	}
}

// Of a month of which no issue was read nothing counted from issues is known.
func TestForgetMonths(t *testing.T) {
	made := func(reads string) *Figure {
		return &Figure{Definition: &Definition{Reads: []string{"months", reads}, Points: []Column{{Name: "month", Kind: Month}, {Name: "n", Kind: Count}, {Name: "share", Kind: Share}}},
			Rows: [][]Cell{{{Value: "2026-09"}, {Value: int64(0)}, {Value: 0.0}}, {{Value: "2026-10"}, {Value: int64(0)}, {}}, {{Value: "2026-11"}, {Value: int64(4)}, {Hidden: true}}}}
	}
	for reads, wanted := range map[string]string{"episodes": "0 0 %|– –|4 hidden", "bags": "0 0 %|– –|4 hidden", "medicines": "0 0 %|0 –|4 hidden"} {
		f := made(reads)
		f.ForgetMonths(map[string]bool{"2026-10": true, "2026-11": true})
		var rows []string
		for _, row := range f.Rows {
			rows = append(rows, Format{}.Cell(f.Points[1], row[1])+" "+Format{}.Cell(f.Points[2], row[2]))
		}
		if got := strings.Join(rows, "|"); got != wanted {
			t.Errorf("counted from %s: %s, wanted %s", reads, got, wanted)
		}
	}
}

func TestSaysZero(t *testing.T) {
	f := &Figure{Definition: &Definition{Answer: []Column{{Name: "n", Kind: Count}, {Name: "of", Kind: Count}}}}
	p := Panel{Says: "Some.", SaysNone: "None.", SaysZero: "Not one."}
	for wanted, values := range map[string][2]Cell{"Some.": {{Value: int64(1)}, {Value: int64(2)}}, "None.": {{Value: int64(0)}, {Value: int64(0)}}, "Not one.": {{Value: int64(0)}, {Hidden: true}}, "Some": {{Hidden: true}, {Value: int64(9)}}} {
		f.Values = map[string]Cell{"n": values[0], "of": values[1]}
		if got := f.Say(p, Format{}, When{}); !strings.HasPrefix(got, wanted) {
			t.Errorf("%v: %q, wanted %q", values, got, wanted)
		}
	}
}

// TestForgetMissing: a feed that told nothing of a month takes that month's noughts, and
// those of the period where all its months are such.
func TestForgetMissing(t *testing.T) {
	n, some := Cell{Value: int64(0)}, Cell{Value: int64(4)}
	make := func(reads string, months ...string) *Figure {
		d := &Definition{Reads: []string{reads}, Answer: []Column{{Name: "all", Kind: Count}}, needs: []need{{columns: []string{"n"}, feeds: []string{Bleeding}}, {columns: []string{"all"}, answer: true, feeds: []string{"events", "patients"}}}}
		f := &Figure{Definition: d, Values: map[string]Cell{"all": n}}
		if d.Points = []Column{{Name: "name", Kind: Label}, {Name: "n", Kind: Count}}; len(months) > 0 {
			d.Points[0] = Column{Name: "month", Kind: Month}
		}
		for _, m := range months {
			f.Rows = append(f.Rows, []Cell{{Value: m}, n})
		}
		if len(months) == 0 {
			f.Rows = [][]Cell{{{Value: "x"}, n}, {{Value: "y"}, some}}
		}
		return f
	}
	missing := map[string]map[string]bool{Bleeding: {"2026-07": true, "2026-08": true}, "events": {"2026-07": true}, "patients": {"2026-07": true}}
	f := make("episodes", "2026-06", "2026-07")
	if f.ForgetMissing(missing, []string{"2026-07"}); f.Rows[0][1] != n || f.Rows[1][1] != (Cell{}) || f.Values["all"] != n {
		t.Errorf("by month: %v %v", f.Rows, f.Values)
	}
	f = make("period_episodes")
	if f.ForgetMissing(missing, []string{"2026-07", "2026-08"}); f.Rows[0][1] != (Cell{}) || f.Rows[1][1] != some || f.Values["all"] != n {
		t.Errorf("of a period without bleeding: %v %v", f.Rows, f.Values)
	}
	if f.ForgetMissing(missing, []string{"2026-07"}); f.Values["all"] != (Cell{}) {
		t.Errorf("an answer of which both feeds are missing: %v", f.Values)
	}
	for _, kept := range [][]string{{"2026-06", "2026-07"}, nil} {
		f = make("period_episodes")
		if f.ForgetMissing(missing, kept); f.Rows[0][1] != n {
			t.Errorf("of %v: %v", kept, f.Rows)
		}
	}
	f = make("year_episodes")
	if f.ForgetMissing(missing, []string{"2026-07"}); f.Rows[0][1] != n {
		t.Errorf("of a year: %v", f.Rows)
	}
}
