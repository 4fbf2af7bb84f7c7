package pack

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"thawline/internal/audit"
	"thawline/internal/contract"
	"thawline/internal/words"
	"thawline/queries"
)

// TestFactsHaveWords: no name of a fact, of a test or of a number that proves a
// finding stands in cases.html as a code.
func TestFactsHaveWords(t *testing.T) {
	names := strings.Fields(caseFacts)
	for _, test := range contract.BeforeAfterTests {
		names = append(names, test, test+"_before", test+"_after")
	}
	rules, err := audit.Rules()
	if err != nil {
		t.Fatal(err)
	}
	column := regexp.MustCompile(`(?m)^    (?:[a-z_]+\.|.* AS )([a-z_]+),?$`)
	for _, rule := range rules {
		text, err := queries.FS.ReadFile("rules/" + rule.Name + ".sql")
		if err != nil {
			t.Fatal(err)
		}
		names = append(names, rule.Name)
		_, shown, _ := strings.Cut(string(text), "AS result,\n")
		shown, _, _ = strings.Cut(shown, "\nFROM")
		for _, m := range column.FindAllStringSubmatch(shown, -1) {
			names = append(names, m[1])
		}
	}
	if len(names) < 100 {
		t.Fatalf("%d names: the test proves little", len(names))
	}
	code := regexp.MustCompile(`_|\b(inr|pt|aptt|hb|ml|abo|ab|doac|h|min)\b`)
	for _, name := range names {
		if said := words.English().Fact(name); code.MatchString(said) {
			t.Errorf("%s is told as %q: give it words in internal/words/en.yaml", name, said)
		}
	}
}

// TestNumbersOfAFinding: rounded, in words, and on the hospital's clock.
func TestNumbersOfAFinding(t *testing.T) {
	in := fabricate(t, 20)
	var err error
	if in.zone, err = time.LoadLocation("Europe/Dublin"); err != nil {
		t.Fatal(err)
	}
	for text, wanted := range map[string]string{
		`{"begin":"2026-10-07 07:56:00","finish":"2026-12-07 09:26:00"}`:    "begin: 2026-10-07 08:56; finish: 2026-12-07 09:26",
		`{"inr_before":3.296610169,"inr_after_hours":null}`:                 "INR before: 3.297; INR after, hours from the end: not known",
		`{"possible_ml":1096.0,"heart_failure":false,"renal_failure":true}`: "volume with units of unknown fate, mL: 1,096; heart failure: no; renal failure: yes",
		`{"tests":"aptt_ratio inr"}`:                                        "tests: aPTT ratio, INR",
		`{"shown_by":"inr pt_ratio","alternative":"not_stated"}`:            "shown by: INR, PT ratio; another product first: not stated",
		`{}`: "",
	} {
		if got := in.numbers(text); got != wanted {
			t.Errorf("%s is told as %q, wanted %q", text, got, wanted)
		}
	}
}
