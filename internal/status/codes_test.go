package status

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thawline/internal/contract"
	"thawline/internal/normalise"
	"thawline/internal/site"
	"thawline/internal/store"
)

// reading is one of set-aside codes of a column, each in so many rows, of
// several patients or not.
func reading(table, column string, rows int64, shared bool, words ...string) store.Reading {
	r := store.Reading{Table: table, File: "a.csv", SetAsideCodes: map[string]store.CodeCount{}}
	for _, word := range words {
		r.SetAsideCodes[column+"="+word] = store.CodeCount{Count: rows}
		if shared {
			r.SharedCodes = append(r.SharedCodes, column+"="+word)
		}
	}
	slices.Sort(r.SharedCodes)
	return r
}

// All numbers and names are invented.
func TestWhichCodesAreShown(t *testing.T) {
	for _, c := range []struct {
		column, text string
		rows         int64
		shared       bool
		want         string // empty: not shown
	}{
		{"product_code", "E0701V00", 1, false, "E0701V00"}, // the standard form
		{"test", "6301-6", 1, false, "6301-6"},             // a LOINC code
		{"test", "6301-5", 1, false, ""},                   // a number of that form
		{"indication", "6301-6", 1, false, ""},
		{"test", "FIB2", 1, false, "FIB2"},
		{"test", "PT/INR", 1, false, "PT/INR"},
		{"test", "4711", 900, true, "4711"},
		{"test", "4711", 900, false, ""}, // of one patient, however many rows
		{"test", "4711", 4, true, ""},
		{"message", "BPS^O29", 1, false, "BPS^O29"},
		{"patient", "without another number", 1, false, "without another number"},
		{"procedure", "387713003", 5, false, "387713003"}, // a format's own code, of no known patients
		{"procedure", "387713003", 4, false, ""},
		{"product_code", "1234567", 1, false, ""},
		{"product_code", "943 476 5900", 9, false, ""},
		{"product_code", "943 476 5900", 9, true, "943 476 5900"},
		{"product_code", "123-45-6789", 1, false, ""},
		{"product_code", "RT4411", 1, false, ""},
		{"product_code", "12/03/1950", 1, false, ""},
		{"indication", "Murphy Jane", 4, false, ""},
		{"indication", "MURPHY,JANE", 4, false, ""},
		{"indication", "O\u2019Brien^Mary^Ann", 4, false, ""},
		{"indication", "J. Murphy-Nowak", 4, false, ""},
		{"indication", "seen by Dr Nobody", 4, false, ""},
		{"indication", "High INR", 300, true, "High INR"},
		{"indication", "Bleeding", 1, false, "Bleeding"},
		{"fate", "a\x1b[31mb\nc", 1, false, "a [31mb c"},
		{"fate", strings.Repeat("é", 41), 1, false, strings.Repeat("é", 40) + "…"},
		{"fate", strings.Repeat("é", 40), 1, false, strings.Repeat("é", 40)},
	} {
		guard := NewGuard(&site.Site{}, []store.Reading{reading("labs", c.column, c.rows, c.shared, c.text)})
		if got, ok := guard.Shown("labs", SetAside, c.column, c.text); got != c.want || ok != (c.want != "") {
			t.Errorf("%s %q in %d rows: %q %t, want %q", c.column, c.text, c.rows, got, ok, c.want)
		}
	}
	// A code that no reading holds was never looked at.
	if _, ok := NewGuard(&site.Site{}, nil).Shown("labs", SetAside, "test", "K"); ok {
		t.Error("a code of no reading is shown")
	}
}

func TestShownUnit(t *testing.T) {
	for unit, want := range map[string]string{"mmol/L": "mmol/L", "10*9/L": "10*9/L", "mL/min/1.73m2": "mL/min/1.73m2", "4711234": "", "Jane Murphy": "", "": ""} {
		if got := ShownUnit(unit); got != want {
			t.Errorf("%q: %q", unit, got)
		}
	}
}

// A column that holds numbers of persons, by a mistake in the map, is told as
// one line without any of them, once a file or often; a list of codes is not.
// What hides it for one hides it for all who ask.
func TestAColumnOfPersonsIsNotShown(t *testing.T) {
	for _, c := range []struct {
		name   string
		code   string
		rows   int64
		shared bool
		n      int
		hidden bool
	}{
		{"patients' numbers, each once", "P%03d", 1, false, 60, true},
		{"patients' numbers, each with some results", "90000%03d", 7, false, 60, true},
		{"a list of codes", "T%03d", 300, true, 60, false},
		{"a list of numbered codes", "10000%03d", 300, true, 60, false},
		{"a list of numbered codes, not all common", "1%03d", 7, true, 60, false},
		{"a few codes, each once", "T%03d", 1, false, 10, false},
	} {
		var words []string
		for i := range c.n {
			words = append(words, fmt.Sprintf(c.code, i))
		}
		readings := []store.Reading{reading("labs", "test", c.rows, c.shared, words...), {Table: "labs", File: "b.csv"}}
		guard := NewGuard(&site.Site{}, readings)
		list := codeProblems(guard, readings)
		var rows int64
		for _, p := range list {
			rows += p.Rows
		}
		if hidden := len(list) == 1 && strings.Contains(list[0].Reason, "not shown"); hidden != c.hidden || rows != c.rows*int64(c.n) || list[0].Files != 1 {
			t.Errorf("%s: %d lines of %d rows, the first %q", c.name, len(list), rows, list[0].Reason)
		}
		codes, _ := guard.ShownCodes("labs", readings[0].SetAsideCodes, nil)
		if hidden := len(codes) == 1 && codes["test="+notShown].Count == rows; hidden != c.hidden {
			t.Errorf("%s: as JSON %v", c.name, codes)
		}
		// One export alone, of few of them, shows no more.
		few := []store.Reading{reading("labs", "test", c.rows, c.shared, words[:3]...)}
		for _, p := range codeProblems(guard, few) {
			if hidden := strings.Contains(p.Reason, "not shown"); hidden != c.hidden {
				t.Errorf("%s: of a few %q", c.name, p.Reason)
			}
		}
	}
}

// What the maps know by now is told with what is left to do: the export that was
// read before they did is gone.
func TestCodesMappedSince(t *testing.T) {
	s := &site.Site{Products: map[string]site.Product{"new": {}}, Feeds: []site.Feed{{Table: contract.Issues}, {Table: contract.Labs, Codes: map[string]map[string]string{"test": {"inr2": "inr"}}}}}
	old := reading("issues", "product_code", 3, false, "NEW", "OTHER")
	results := reading("labs", "test", 3, false, "INR2", "K")
	now := results
	now.Map, now.ID = store.SHA256(s.Feeds[1].Effective(s)), "2"
	messages := reading("labs", "message", 3, false, "BPS^O29")
	for _, c := range []struct {
		readings []store.Reading
		want     map[string]bool
	}{
		{[]store.Reading{old, results}, map[string]bool{"NEW": true, "OTHER": false, "INR2": true, "K": false}},
		{[]store.Reading{results, now}, map[string]bool{"INR2": false, "K": false}}, // another feed reads it
	} {
		for _, p := range codeProblems(NewGuard(s, c.readings), c.readings) {
			for word, want := range c.want {
				if strings.Contains(p.Reason, strconv.Quote(word)) && (p.Next == nowMapped) != want {
					t.Errorf("%s: next %q", p.Reason, p.Next)
				}
			}
		}
	}
	// What holds no row of the table is in need of no map.
	list := codeProblems(NewGuard(s, []store.Reading{messages}), []store.Reading{messages})
	if len(list) != 1 || list[0].Reason != `"BPS^O29" holds no row of labs` || !strings.Contains(list[0].Next, `ignore: ["message=BPS^O29"]`) || strings.Contains(list[0].Next, "message:") {
		t.Errorf("%+v", list)
	}
}

// A word in place of a number is told with the map that explains it.
func TestWordsInPlaceOfNumbers(t *testing.T) {
	readings := []store.Reading{{Table: "labs", File: "a.csv", Unmapped: map[string]int64{"no_value=geronnen": 3, "no_value=Frau N. Nobody in Station Nord": 2}}}
	list := codeProblems(NewGuard(&site.Site{}, readings), readings)
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
	if list := Trial(NewGuard(&site.Site{}, nil), nil, []normalise.ProblemCount{count, other}); len(list) != 1 || strings.Join(list[0].Examples, ", ") != "kg, Units" || list[0].Rows != 18 {
		t.Errorf("%+v", list)
	}
	other.RawMore = 1
	if list := Trial(NewGuard(&site.Site{}, nil), nil, []normalise.ProblemCount{count, other}); len(list[0].Examples) != 0 {
		t.Errorf("%+v", list)
	}
}
