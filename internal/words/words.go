// Package words holds what the pack writes itself, as data: a file a language.
package words

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"

	"github.com/goccy/go-yaml"
)

//go:embed *.yaml
var files embed.FS

// Language holds the words of one language.
type Language struct {
	// Name is its tag, as the pages state it.
	Name string `yaml:"language"`
	// Words are found by key.
	Words map[string]string `yaml:"words"`
	// Facts names facts by their column; what it leaves out is as in English.
	Facts map[string]string `yaml:"facts"`
	// Months are the twelve short names.
	Months []string `yaml:"months"`
	// Texts gives, for what figures and the dashboard say in English, the same in
	// this language; what it leaves out stays English.
	Texts map[string]string `yaml:"texts"`

	// comma is the language with a decimal comma, made once; turned says that this is it.
	once   sync.Once
	comma  *Language
	turned bool
}

// English is the language that is always there.
var English = sync.OnceValue(func() *Language {
	l, err := read(files, "en")
	if err != nil {
		panic(err) // The file is in the program, and a test reads it.
	}
	return l
})

// Load reads a language of the program, English where the name is empty.
func Load(name string) (*Language, error) { return LoadFrom(files, name) }

// LoadFrom reads NAME.yaml of a folder, checked against English: the same keys,
// and the same places to fill in.
func LoadFrom(fsys fs.FS, name string) (*Language, error) {
	english := English()
	if name == "" || name == english.Name {
		return english, nil
	}
	l, err := read(fsys, name)
	if err != nil {
		return nil, err
	}
	var faults []error
	fault := func(format string, a ...any) {
		faults = append(faults, fmt.Errorf("%s.yaml: "+format, append([]any{name}, a...)...))
	}
	for _, key := range sorted(english.Words) {
		text, found := l.Words[key]
		if !found {
			fault("no words for %q", key)
		} else if verbs(text) != verbs(english.Words[key]) {
			fault("%q fills in %q, wanted %q as in English", key, verbs(text), verbs(english.Words[key]))
		} else if what := misplaced(english.Words[key], text); what != "" {
			fault("%q %s", key, what)
		}
	}
	for _, key := range sorted(l.Texts) {
		if what := misplaced(key, l.Texts[key]); what != "" {
			fault("the text for %q %s", key, what)
		}
	}
	for _, key := range sorted(l.Words) {
		if _, found := english.Words[key]; !found {
			fault("%q is no key of English", key)
		}
	}
	if err := errors.Join(faults...); err != nil {
		return nil, err
	}
	return l, nil
}

func sorted(m map[string]string) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

func read(fsys fs.FS, name string) (*Language, error) {
	text, err := fs.ReadFile(fsys, name+".yaml")
	if err != nil {
		return nil, fmt.Errorf("language: %q is not known, wanted one of %s (another is one more file in internal/words)", name, strings.Join(languages(fsys), ", "))
	}
	l := &Language{}
	if err := yaml.NewDecoder(bytes.NewReader(text), yaml.Strict()).Decode(l); err != nil {
		return nil, fmt.Errorf("%s.yaml: %s", name, yaml.FormatError(err, false, true))
	}
	if len(l.Months) != 12 || l.Name != name {
		return nil, fmt.Errorf("%s.yaml: found language %q and %d months, wanted %q and twelve", name, l.Name, len(l.Months), name)
	}
	return l, nil
}

func languages(fsys fs.FS) []string {
	names, err := fs.Glob(fsys, "*.yaml")
	if err != nil {
		return nil
	}
	for i, name := range names {
		names[i] = strings.TrimSuffix(name, ".yaml")
	}
	return names
}

var verbForm = regexp.MustCompile(`%(\[[0-9]\])?[sd%]`)

// verbs are the places to fill in, in the order of the arguments.
func verbs(text string) string {
	found := verbForm.FindAllString(text, -1)
	// A numbered place may stand anywhere.
	if slices.ContainsFunc(found, func(v string) bool { return strings.Contains(v, "[") }) {
		slices.Sort(found)
	}
	for i := range found {
		if j := strings.Index(found[i], "]"); j > 0 {
			found[i] = "%" + found[i][j+1:]
		}
	}
	return strings.Join(slices.DeleteFunc(found, func(v string) bool { return v == "%%" }), " ")
}

// placeForm is {name}, or {name:one|many}.
var placeForm = regexp.MustCompile(`\{([a-z0-9_]+)(:[^{}|]*\|[^{}|]*)?\}`)

// misplaced says what is wrong with the places between braces of a text, or nothing. All
// that English fills in is filled in; what chooses between one and many may be where the
// language needs it, by anything that English has.
func misplaced(english, text string) string {
	if strings.ContainsAny(placeForm.ReplaceAllString(text, ""), "{}") {
		return "has a brace that belongs to no {name} and no {name:one|many}"
	}
	known, filled, arguments := map[string]bool{}, map[string]bool{}, len(strings.Fields(verbs(english)))
	for _, m := range placeForm.FindAllStringSubmatch(english, -1) {
		known[m[1]] = true
	}
	for _, m := range placeForm.FindAllStringSubmatch(text, -1) {
		filled[m[1]] = filled[m[1]] || m[2] == ""
		if n, err := strconv.Atoi(m[1]); err == nil && m[2] != "" && n >= 1 && n <= arguments || known[m[1]] {
			continue
		}
		return fmt.Sprintf("has {%s}, which English has not", m[1])
	}
	for _, m := range placeForm.FindAllStringSubmatch(english, -1) {
		if m[2] == "" && !filled[m[1]] {
			return fmt.Sprintf("leaves out {%s}", m[1])
		}
	}
	return ""
}

// Say gives the words of a key, with arguments where they have places for them.
// A key that English does not have is a fault of the program: it panics, and a
// test looks for every key that the program asks for.
func (l *Language) Say(key string, args ...any) string {
	text, found := l.Words[key]
	if !found {
		panic("no words for " + key)
	}
	if len(args) == 0 {
		return text
	}
	if strings.Contains(text, "{") {
		text = forms(text, args)
	}
	return fmt.Sprintf(text, args...)
}

// forms chooses among the forms of a text by its arguments.
func forms(text string, args []any) string {
	return formForm.ReplaceAllStringFunc(text, func(form string) string {
		parts := formForm.FindStringSubmatch(form)
		if n, err := strconv.Atoi(parts[1]); err == nil && n >= 1 && n <= len(args) && fmt.Sprint(args[n-1]) == "1" {
			return parts[2]
		}
		return parts[3]
	})
}

// formForm is {2:one|many}: the first where the second argument is 1.
var formForm = regexp.MustCompile(`\{([1-9]):([^{}|]*)\|([^{}|]*)\}`)

// Text gives what a figure or the dashboard says in English in this language,
// English where it has no other. What queries join from words is given part by part
// (not run: no feed labs), if the language has every part: a name of the site's own
// that holds such a sign stays whole.
func (l *Language) Text(english string) string {
	text, _ := l.whole(english)
	return text
}

// joints are the signs by which queries join words.
var joints = []string{" → ", "; ", ": ", ", "}

// whole looks a text up, and then each of its parts.
func (l *Language) whole(english string) (text string, found bool) {
	if text, found = l.text(english); found {
		return text, true
	}
	for _, joint := range joints {
		parts := strings.Split(english, joint)
		if len(parts) == 1 {
			continue
		}
		for i, part := range parts {
			if parts[i], found = l.whole(part); !found {
				return english, false
			}
		}
		return strings.Join(parts, joint), true
	}
	return english, false
}

// Own is Text of what the program itself says, and no site: its numbers are written as
// the site writes them.
func (l *Language) Own(english string) string {
	text, found := l.text(english)
	if !found && l.turned {
		return Comma(english)
	}
	return text
}

// text looks a text up; it is as in English where this language leaves it out.
func (l *Language) text(english string) (text string, found bool) {
	if text, found = l.Texts[english]; found {
		return text, true
	}
	if text, found = l.fallback().Texts[english]; found {
		return text, true
	}
	return english, false
}

// fallback is English, its numbers written as those of this language are.
func (l *Language) fallback() *Language {
	if l.turned {
		return English().WithComma()
	}
	return English()
}

// Fact names a fact by its column, or a code in the words of Text.
func (l *Language) Fact(column string) string {
	if text, found := l.Facts[column]; found {
		return text
	}
	plain := strings.ReplaceAll(column, "_", " ")
	if text, found := l.Texts[plain]; found {
		return text
	}
	if text, found := l.fallback().Facts[column]; found {
		return text
	}
	return l.Text(plain)
}
