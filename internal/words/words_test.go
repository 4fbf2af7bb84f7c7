package words

import (
	"strings"
	"testing"
	"testing/fstest"

	"github.com/goccy/go-yaml"
)

func file(t *testing.T, l *Language) *fstest.MapFile {
	t.Helper()
	text, err := yaml.Marshal(map[string]any{"language": l.Name, "words": l.Words, "months": l.Months, "texts": l.Texts})
	if err != nil {
		t.Fatal(err)
	}
	return &fstest.MapFile{Data: text}
}

func other() *Language {
	l := &Language{Name: "xx", Words: map[string]string{}, Months: English().Months, Texts: map[string]string{"Month": "Mois"}}
	for key, text := range English().Words {
		l.Words[key] = text
	}
	return l
}

func TestAnotherLanguageIsOneFile(t *testing.T) {
	l := other()
	l.Words["of"] = "de %[2]s, %[1]s"
	got, err := LoadFrom(fstest.MapFS{"xx.yaml": file(t, l)}, "xx")
	if err != nil {
		t.Fatal(err)
	}
	if said := got.Say("of", "3", "40"); said != "de 40, 3" {
		t.Errorf("said %q", said)
	}
	if got.Text("Month") != "Mois" || got.Text("Place") != "Place" {
		t.Error("texts are not given in the language, or not left English where it has none")
	}
}

func TestPartsOfALabel(t *testing.T) {
	l := other()
	for english, text := range map[string]string{"given": "donné", "lost": "perdu", "not run": "non", "no feed labs": "pas de labs"} {
		l.Texts[english] = text
	}
	for label, wanted := range map[string]string{
		"given → lost":                        "donné → perdu",
		"not run: no feed labs; no feed labs": "non: pas de labs; pas de labs",
		"lost":                                "perdu",
		// A place of the site's.
		"Ward: lost":  "Ward: lost",
		"lost, North": "lost, North",
		"given → ":    "given → ",
	} {
		if got := l.Text(label); got != wanted {
			t.Errorf("%q is %q, wanted %q", label, got, wanted)
		}
	}
}

func TestFaultsOfALanguage(t *testing.T) {
	l := other()
	delete(l.Words, "none")
	l.Words["of"] = "%s"
	l.Words["extra"] = "x"
	l.Words["page_of"] = "page {page} of {pgaes}"
	l.Words["answer_use"] = "In %s %s and %s {4:one|many}"
	l.Texts["{n} of {of} {n:bag|bags}"] = "{n} bags"
	l.Texts["{n} of {of}"] = "{of}: {n} {n:bag}"
	// The form of a word may hang on another number, or on none.
	l.Texts["{n} {n:bag|bags} of {of}"] = "{of} {of:a|b}, {n}"
	_, err := LoadFrom(fstest.MapFS{"xx.yaml": file(t, l)}, "xx")
	for _, want := range []string{`xx.yaml: no words for "none"`, `xx.yaml: "of" fills in "%s", wanted "%s %s"`, `xx.yaml: "extra" is no key of English`,
		`"page_of" has {pgaes}, which English has not`, `"answer_use" has {4}, which English has not`, `the text for "{n} of {of} {n:bag|bags}" leaves out {of}`,
		`the text for "{n} of {of}" has a brace that belongs to no {name}`} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("no fault %q in %v", want, err)
		}
	}
	if strings.Contains(err.Error(), "{n} {n:bag|bags} of {of}") {
		t.Errorf("a form that hangs on another number is a fault: %v", err)
	}
	if _, err := Load("zz"); err == nil || !strings.Contains(err.Error(), `language: "zz" is not known, wanted one of en`) {
		t.Errorf("%v", err)
	}
	l = other()
	l.Months = l.Months[:11]
	if _, err := LoadFrom(fstest.MapFS{"xx.yaml": file(t, l)}, "xx"); err == nil || !strings.Contains(err.Error(), "11 months") {
		t.Errorf("%v", err)
	}
}

func TestOneAndMany(t *testing.T) {
	l := other()
	l.Words["of"] = "%s {1:bag was|bags were} given and %s {2:bag|bags} lost"
	for wanted, args := range map[string][]any{
		"1 bag was given and 2 bags lost":       {"1", "2"},
		"0 bags were given and 1 bag lost":      {"0", "1"},
		"some bags were given and 11 bags lost": {"some", "11"},
	} {
		if got := l.Say("of", args...); got != wanted {
			t.Errorf("said %q, wanted %q", got, wanted)
		}
	}
}
