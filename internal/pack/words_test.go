package pack

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
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
	notShown := map[string]bool{"Errorf": true, "New": true, "Rows": true, "Exec": true, "Load": true, "View": true, "WriteTable": true, "panic": true}
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
