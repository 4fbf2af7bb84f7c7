package figure

import (
	"slices"
	"strings"
	"testing"
)

// TestSentences fills sentences from answers of which some is hidden, or is one.
func TestSentences(t *testing.T) {
	d := &Definition{Name: "t", Answer: []Column{{Name: "n", Kind: Count}, {Name: "of", Kind: Count}, {Name: "bags", Kind: Units}, {Name: "median", Kind: Number}, {Name: "share_of_it", Kind: Share}}}
	shown := func(n, of, bags int64) map[string]Cell {
		return map[string]Cell{"n": {Value: n}, "of": {Value: of}, "bags": {Value: bags}, "median": {Value: 12.5}, "share_of_it": {Value: 0.5}}
	}
	hidden := shown(0, 0, 3)
	for _, name := range []string{"n", "of", "median", "share_of_it"} {
		hidden[name] = Cell{Hidden: true}
	}
	part := shown(0, 40, 2)
	part["n"] = Cell{Hidden: true}
	d.Answer = append(d.Answer, Column{Name: "place", Kind: Label})
	d.Answer = append(d.Answer, Column{Name: "gaps", Kind: Dated})
	missing := map[string]Cell{"gaps": {Value: "labs 2026-10, other events 2025-07"}}
	long := map[string]Cell{"gaps": {Value: "labs 2026-10" + strings.Repeat(", labs 2026-09", 10)}}
	turned := shown(2, 2, 2)
	turned["place"] = Cell{Value: "\u202eWard"}
	for _, c := range []struct {
		values       map[string]Cell
		says, wanted string
	}{
		{shown(20, 40, 2), "{n} of {of} ({share}, 95 % interval {interval}) were.", "20 of 40 (50 %, 95 % interval 35 % to 65 %) were."},
		{part, "{n} of {of} ({share}, 95 % interval {interval}) were.", "Some of 40 were."},
		{hidden, "{n} of {of} ({share}, {interval}) were; of {of} ({n}).", "Some of a hidden number of were; of a hidden number of."},
		// A part with anything to tell stays, and so does one without a value.
		{part, "All ({of} of {n}) were (one by one).", "All (40 of some) were (one by one)."},
		{hidden, "It would be so ({share_of_it}); the median was {median}.", "It would be so; the median was hidden."},
		{shown(1, 1, 1), "{bags} {bags:bag was|bags were} lost, {n} {n:is|are} new.", "1 bag was lost, 1 is new."},
		{shown(2, 5, 0), "{bags} {bags:bag was|bags were} lost, {n} {n:is|are} new.", "0 bags were lost, 2 are new."},
		{hidden, "{n} {n:is|are} new.", "Some are new."},
		// What stands in brackets is said of something alone.
		{shown(2, 5, 1), "{n} of {of} were[; {bags} {bags:was|were} lost].[ {bags} more.]", "2 of 5 were; 1 was lost. 1 more."},
		{shown(2, 5, 0), "{n} of {of} were[; {bags} {bags:was|were} lost].[ {bags} more.]", "2 of 5 were."},
		{shown(0, 5, 3), "All[ but {n} ({share})] of {of}[, {n} or {bags}].", "All of 5, 0 or 3."},
		{hidden, "{bags} were[; {n} are new].", "3 were; some are new."},
		{map[string]Cell{"n": {}}, "All[, but {n}][ at {place}].", "All."},
		{shown(0, 5, 3), "{n} [as it were][, {n}].", "0 [as it were]."},
		{missing, "Without a row: {gaps}.", "Without a row: labs Oct 2026, other events Jul 2025."},
		{long, "Without a row: {gaps}.", "Without a row: labs Oct 2026" + strings.Repeat(", labs Sep 2026", 7) + " and 3 more."},
		{map[string]Cell{"gaps": {Value: "none"}}, "Without a row: {gaps}.", "Without a row: none."},
		{turned, "{bags} at {place} (new).", "2 at \u2068\u202eWard\u2069 (new)."},
	} {
		f := &Figure{Definition: d, Values: c.values}
		if got := f.Say(Panel{Says: c.says}, Format{}, When{}); got != c.wanted {
			t.Errorf("%q gives %q, wanted %q", c.says, got, c.wanted)
		}
	}
}

// The numbers of a column have as many decimals as one of them needs, and whole
// numbers none; what is no number asks for none.
func TestAColumnHasOneNumberOfDecimals(t *testing.T) {
	d := &Definition{Points: []Column{{Name: "rate", Kind: Number}, {Name: "minutes", Kind: Number}, {Name: "share", Kind: Share}}}
	f := &Figure{Definition: d}
	for _, row := range [][3]any{{-1200.0, 60.0, 0.095}, {0.456, 5.0, 0.42}, {-0.001, nil, nil}, {3.1, 1200.0, 0.0}} {
		f.Rows = append(f.Rows, []Cell{{Value: row[0]}, {Value: row[1]}, {Value: row[2]}})
	}
	f.Rows = append(f.Rows, []Cell{{Hidden: true}, {Hidden: true}, {Hidden: true}})
	for i, wanted := range [][]string{{"−1,200.00", "0.46", "0.00", "3.10", "hidden"}, {"60", "5", "–", "1,200", "hidden"}, {"9.5 %", "42 %", "–", "0 %", "hidden"}} {
		if got := f.Cells(i, Format{}); !slices.Equal(got, wanted) {
			t.Errorf("column %s is written %q, wanted %q", d.Points[i].Name, got, wanted)
		}
	}
	if got := (Format{Comma: true}).Fixed(-1234.5, 2); got != "−1.234,50" {
		t.Errorf("with a decimal comma %s", got)
	}
}

// A text that turns the direction of writing turns itself alone, wherever a figure
// puts it beside other words.
func TestNamesInNotesTurnNothing(t *testing.T) {
	for text, wanted := range map[string]string{"Ward 3": "Ward 3", "\u202eWard": "\u2068\u202eWard\u2069", "מחלקה": "\u2068מחלקה\u2069"} {
		if got := Isolated(text); got != wanted {
			t.Errorf("%q is written %q, wanted %q", text, got, wanted)
		}
	}
	const name = "\u202eWard"
	notes := (&Funnel{Outside: []string{"A", name}}).Words(Format{})
	_, why := byMonth(stepped(24, 12)...).AddBeforeAfter("month", "n", "of", []Intervention{{Month: "2025-08", Name: name}}, Format{})
	for _, text := range append(notes[:1], why) {
		if !strings.Contains(text, "\u2068"+name+"\u2069") {
			t.Errorf("%q does not keep the name to itself", text)
		}
	}
}

// TestIntrosSpeakOfTheSpan: a section whose span is its period does not speak of both.
func TestIntrosSpeakOfTheSpan(t *testing.T) {
	const text = "Apart.[ Shown: {span}.]"
	for when, wanted := range map[string]string{"Oct 2026": "Apart.", "the year": "Apart. Shown: the year."} {
		if got := (When{Period: "Oct 2026", Span: when}).Intro(text); got != wanted {
			t.Errorf("of %s: %q, wanted %q", when, got, wanted)
		}
	}
	if got := (When{Period: "Oct", Span: "a year"}).Fill("In {period}, of {span}"); got != "In Oct, of a year" {
		t.Errorf("a title is %q", got)
	}
}
