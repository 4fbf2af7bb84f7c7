package figure

import "testing"

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
	} {
		f := &Figure{Definition: d, Values: c.values}
		if got := f.Say(Panel{Says: c.says}, Format{}, When{}); got != c.wanted {
			t.Errorf("%q gives %q, wanted %q", c.says, got, c.wanted)
		}
	}
}
