package pack

import (
	"context"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/figure"
	"thawline/internal/words"
)

// TestNoWordsStandInTemplates: what is left of a template without its actions
// and tags holds no letter.
func TestNoWordsStandInTemplates(t *testing.T) {
	names, err := filepath.Glob("*.html.tmpl")
	if err != nil || len(names) < 3 {
		t.Fatalf("%d templates, %v", len(names), err)
	}
	for _, name := range names {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		left := regexp.MustCompile(`(?s)\{\{.*?\}\}`).ReplaceAllString(string(text), "")
		left = regexp.MustCompile(`(?s)<style>.*?</style>|<!doctype html>`).ReplaceAllString(left, "")
		for _, m := range regexp.MustCompile(`(?:aria-label|title|alt|placeholder)="([^"]*)"`).FindAllStringSubmatch(left, -1) {
			if regexp.MustCompile(`\pL`).MatchString(m[1]) {
				t.Errorf("%s: words in an attribute: %q", name, m[1])
			}
		}
		left = regexp.MustCompile(`(?s)<[^>]*>|&nbsp;`).ReplaceAllString(left, "")
		for _, line := range strings.Split(left, "\n") {
			if regexp.MustCompile(`\pL`).MatchString(line) {
				t.Errorf("%s: words that are no data: %q", name, strings.TrimSpace(line))
			}
		}
	}
}

// TestNoWordsStandInTheCode: a text of two words and more in the package is a
// query, or part of an error.
func TestNoWordsStandInTheCode(t *testing.T) {
	notShown := map[string]bool{"Errorf": true, "fault": true, "note": true, "New": true, "Rows": true, "Exec": true, "Load": true, "View": true, "WriteTable": true, "panic": true}
	two := regexp.MustCompile(`\p{Ll}{2,} \p{Ll}{2,}`)
	markup, spoken := regexp.MustCompile(`<[a-z/][^<>]*(>|$)`), regexp.MustCompile(`(?:aria-label|title|alt|placeholder)="[^"]*\pL`)
	names, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.CallExpr:
				switch f := n.Fun.(type) {
				case *ast.SelectorExpr:
					return !notShown[f.Sel.Name]
				case *ast.Ident:
					return !notShown[f.Name]
				}
			case *ast.Field, *ast.ImportSpec:
				return false
			case *ast.ValueSpec:
				return len(n.Names) == 0 || n.Names[0].Name != "caseFacts"
			case *ast.FuncDecl:
				// Texts of errors of their own.
				return n.Name.Name != "Error"
			case *ast.BasicLit:
				text, err := strconv.Unquote(n.Value)
				if n.Kind == token.STRING && err == nil {
					seen++
					// Markup is no word, but what an attribute says may be.
					if spoken.MatchString(text) {
						t.Errorf("%s: words in an attribute: %q", set.Position(n.Pos()), text)
					}
					text = markup.ReplaceAllString(text, "")
					if two.MatchString(text) && !strings.Contains(text, "SELECT ") {
						t.Errorf("%s: words that are no data: %q", set.Position(n.Pos()), text)
					}
				}
			}
			return true
		})
	}
	if seen < 100 {
		t.Errorf("%d texts looked at: the test proves little", seen)
	}
}

// foreign is a language made for this test: every letter of English bears an
// accent, but for the places to fill in.
func foreign(texts []string) *words.Language {
	accents := strings.NewReplacer("a", "á", "e", "é", "i", "í", "o", "ó", "u", "ú", "n", "ñ", "c", "ç", "A", "Á", "E", "É", "I", "Í", "O", "Ó", "U", "Ú", "N", "Ñ", "C", "Ç")
	whole := regexp.MustCompile(`%(\[\d\])?[sd]|\{[a-z0-9_]+(:[^{}]*)?\}`)
	other := func(text string) string {
		var b strings.Builder
		for {
			at := whole.FindStringIndex(text)
			if at == nil {
				return b.String() + accents.Replace(text)
			}
			b.WriteString(accents.Replace(text[:at[0]]) + text[at[0]:at[1]])
			text = text[at[1]:]
		}
	}
	l := &words.Language{Name: "xx", Words: map[string]string{}, Texts: map[string]string{}}
	for key, text := range words.English().Words {
		l.Words[key] = other(text)
	}
	for _, m := range words.English().Months {
		l.Months = append(l.Months, other(m))
	}
	for _, text := range texts {
		l.Texts[text] = other(text)
	}
	l.Facts = map[string]string{}
	for column, text := range words.English().Facts {
		l.Facts[column] = other(text)
	}
	return l
}

// labelsOf lists the words in the rows of figures, over invented tables; what only
// a language's own words say is not among them.
func labelsOf(t *testing.T, in *input) []string {
	t.Helper()
	e, err := engine.Open(context.Background(), engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	if err := in.load(context.Background(), e); err != nil {
		t.Fatal(err)
	}
	figures, _ := every(t, e, in)
	plain := regexp.MustCompile(`^[A-Za-z][A-Za-z0-9 ,().:-]*$`)
	var labels []string
	for _, f := range figures {
		for i, c := range f.Points {
			for _, row := range f.Rows {
				if label, ok := row[i].Value.(string); ok && c.Kind == figure.Label && c.Name != "what_if" && plain.MatchString(label) && !slices.Contains(labels, label) {
					labels = append(labels, label)
				}
			}
		}
	}
	if len(labels) < 50 {
		t.Fatalf("%d labels in the rows of all figures: the test proves little", len(labels))
	}
	return labels
}

// TestASecondLanguage makes a whole pack in it and looks for what stayed English.
func TestASecondLanguage(t *testing.T) {
	d, defined, err := panels(nil)
	if err != nil {
		t.Fatal(err)
	}
	var texts []string
	for _, s := range d.Sections {
		texts = append(texts, s.Section, s.Intro, s.NotRun)
		for _, p := range s.Panels {
			texts = append(texts, p.Asks, p.Says, p.SaysNone, p.SaysZero, p.Beside, p.Unit, p.XTitle, p.Note)
		}
	}
	for _, f := range defined {
		texts = append(texts, f.Asks, f.NotKnown)
		for _, c := range append(f.Points, f.Answer...) {
			texts = append(texts, c.Title)
		}
	}
	in := fabricate(t, 500)
	labels := labelsOf(t, in)
	labels = append(labels, "transfused", "presumed", "returned", "discarded", "recorded", "assumed")
	in.format.Language, in.format.Comma, in.format.DateForm = foreign(append(slices.Clone(texts), labels...)), true, "02.01.2006"
	committee, cases, _ := made(t, in)
	for name, page := range map[string]string{"committee.html": committee, "cases.html": cases} {
		if !strings.Contains(page, `<html lang="xx">`) {
			t.Errorf("%s does not state its language", name)
		}
		for key, text := range words.English().Words {
			if strings.Contains(text, "%") || strings.Contains(text, "{") || strings.Count(text, " ") < 2 {
				continue
			}
			if strings.Contains(page, text) {
				t.Errorf("%s says %q (%s) in English", name, text, key)
			}
		}
		for _, text := range texts {
			if !strings.Contains(text, "{") && strings.Count(text, " ") > 2 && strings.Contains(page, text) {
				t.Errorf("%s says %q in English", name, text)
			}
		}
		for _, label := range labels {
			if name == "committee.html" && strings.Count(label, " ") > 0 && strings.Contains(page, ">"+label+"</td>") {
				t.Errorf("%s has %q in a row of a figure, in English", name, label)
			}
		}
		for _, code := range append(slices.Clone(contract.Marks), "indicated and dosed", "no test after", "transfused") {
			if name == "cases.html" && regexp.MustCompile(`>`+code+`[ <]`).MatchString(page) {
				t.Errorf("%s says %q in English", name, code)
			}
		}
		if strings.Contains(page, "2026-10-20") || !strings.Contains(page, "20.10.2026") {
			t.Errorf("%s does not write its report date in the site's form", name)
		}
	}
	// A number of the tables: the median dose with a comma.
	if !regexp.MustCompile(`>\d+,\d<`).MatchString(committee) {
		t.Error("no number bears a decimal comma")
	}
}
