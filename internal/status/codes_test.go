package status

import (
	"fmt"
	"strings"
	"testing"

	"thawline/internal/normalise"
	"thawline/internal/store"
)

func TestShownCode(t *testing.T) {
	for _, c := range []struct {
		text string
		rows int64
		want string
		ok   bool
	}{
		{"E0701V00", 1, "E0701V00", true}, // a product code of the standard form
		{"6301-6", 1, "6301-6", true},     // a LOINC code
		{"PRE OP THEATRE", 1, "PRE OP THEATRE", true},
		{"1234567", 1, "1234567", false},
		{"1234567", 5, "1234567", true},
		{"seen by Dr Nobody", 4, "seen by Dr Nobody", false},
		{"a\x1b[31mb\nc", 1, "a [31mb c", true},
		{strings.Repeat("é", 41), 1, strings.Repeat("é", 40) + "…", true},
		{strings.Repeat("é", 40), 1, strings.Repeat("é", 40), true},
	} {
		if got, ok := ShownCode(c.text, c.rows); got != c.want || ok != c.ok {
			t.Errorf("%q in %d rows: %q %t, want %q %t", c.text, c.rows, got, ok, c.want, c.ok)
		}
	}
}

// A column that holds numbers of persons, by a mistake in the map, is told as
// one line without any of them, once a file or often; a list of codes is not.
func TestAColumnOfPersonsIsNotShown(t *testing.T) {
	for _, c := range []struct {
		name   string
		code   string
		rows   int64
		n      int
		hidden bool
	}{
		{"patients' numbers, each once", "P%03d", 1, 60, true},
		{"patients' numbers, each with some results", "90000%03d", 7, 60, true},
		{"a list of codes", "T%03d", 300, 60, false},
		{"a list of numbered codes", "10000%03d", 300, 60, false},
		{"a few codes, each once", "T%03d", 1, 10, false},
	} {
		codes := map[string]store.CodeCount{}
		for i := range c.n {
			codes["test="+fmt.Sprintf(c.code, i)] = store.CodeCount{Count: c.rows}
		}
		list := codeProblems([]store.Reading{{Table: "labs", File: "a.csv", SetAsideCodes: codes}, {Table: "labs", File: "b.csv", SetAsideCodes: map[string]store.CodeCount{}}})
		var rows int64
		for _, p := range list {
			rows += p.Rows
		}
		if hidden := len(list) == 1 && strings.Contains(list[0].Reason, "not shown"); hidden != c.hidden || rows != c.rows*int64(c.n) || list[0].Files != 1 {
			t.Errorf("%s: %d lines of %d rows, the first %q", c.name, len(list), rows, list[0].Reason)
		}
	}
}

// A word in place of a number is told with the map that explains it.
func TestWordsInPlaceOfNumbers(t *testing.T) {
	list := codeProblems([]store.Reading{{Table: "labs", File: "a.csv", Unmapped: map[string]int64{"no_value=geronnen": 3, "no_value=Frau N. Nobody in Station Nord": 2}}})
	if len(list) != 2 || !strings.Contains(list[0].Reason+list[1].Reason, `code "geronnen" is in no map`) || strings.Contains(fmt.Sprint(list), "Nobody") || !strings.Contains(list[0].Next, "map it under no_value:") {
		t.Errorf("%+v", list)
	}
}

// A trial names the units that it dropped, by the rules of the store's own list; of
// a column of many different texts it names none.
func TestTrialNamesWhatWasWritten(t *testing.T) {
	count := normalise.ProblemCount{Table: "labs", File: "a.csv", Severity: "dropped", Column: "unit_raw", Reason: "no unit of inr: ", Rows: 9, First: 2, Raw: map[string]int64{"Units": 5, "kg": 3, "Frau Nobody aus Nirgendwo Nord": 1}}
	other := count
	other.File, other.Raw = "b.csv", map[string]int64{"kg": 4}
	if list := Trial(nil, []normalise.ProblemCount{count, other}); len(list) != 1 || strings.Join(list[0].Examples, ", ") != "kg, Units" || list[0].Rows != 18 {
		t.Errorf("%+v", list)
	}
	other.RawMore = 1
	if list := Trial(nil, []normalise.ProblemCount{count, other}); len(list[0].Examples) != 0 {
		t.Errorf("%+v", list)
	}
}
