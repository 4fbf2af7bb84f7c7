package pack

// What a page says, for the tests of languages: every text that a person reads of it,
// and what of that is English still.

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"golang.org/x/net/html"
)

var (
	englishWord = regexp.MustCompile(`[A-Za-z]{2,}`)
	// pseudonymForm names an episode or a patient.
	pseudonymForm = regexp.MustCompile(`\b[A-Z0-9]{4}-[A-Z0-9]{4}\b|\b[0-9a-f]{8,}\b`)
	// bloodGroup is the same in every language.
	bloodGroup = regexp.MustCompile(`\bAB\b`)
)

// leftEnglish is the first word of a text that is neither of the language nor the
// site's own.
func leftEnglish(text string, own []string) string {
	if !englishWord.MatchString(text) {
		return ""
	}
	for _, name := range own {
		text = leftOut(text, name)
	}
	text = bloodGroup.ReplaceAllString(pseudonymForm.ReplaceAllString(text, ""), "")
	return englishWord.FindString(text)
}

// leftOut is a text without a name that stands in it as a word of its own.
func leftOut(text, name string) string {
	joins := func(r rune, of rune) bool { return unicode.IsLetter(r) && unicode.IsLetter(of) }
	first, _ := utf8.DecodeRuneInString(name)
	last, _ := utf8.DecodeLastRuneInString(name)
	for from := 0; ; {
		i := strings.Index(text[from:], name)
		if i < 0 {
			return text
		}
		i += from
		before, _ := utf8.DecodeLastRuneInString(text[:i])
		after, _ := utf8.DecodeRuneInString(text[i+len(name):])
		if from = i + 1; !joins(before, first) && !joins(after, last) {
			text, from = text[:i]+" "+text[i+len(name):], i
		}
	}
}

// saying is a text that a person reads or hears, and where it stands.
type saying struct{ where, text string }

// spoken lists them: texts, attributes, and what the style adds.
func spoken(t *testing.T, page string) (all []saying) {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	var walk func(n *html.Node, where string)
	walk = func(n *html.Node, where string) {
		switch {
		case n.Type == html.TextNode:
			if text := strings.TrimSpace(n.Data); text != "" {
				all = append(all, saying{where, text})
			}
			return
		case n.Type == html.ElementNode && n.Data == "script":
			return
		case n.Type == html.ElementNode && n.Data == "style":
			for _, m := range cssContent.FindAllStringSubmatch(n.FirstChild.Data, -1) {
				for _, one := range cssText.FindAllStringSubmatch(m[1], -1) {
					all = append(all, saying{where + " style", unescaped(one[1])})
				}
			}
			return
		case n.Type == html.ElementNode:
			where += " " + n.Data
			for _, a := range n.Attr {
				if a.Key == "id" {
					where += "#" + a.Val
				}
			}
			if i := strings.Index(where, "article"); i > 0 {
				where = where[i:]
			}
			for _, a := range n.Attr {
				if slices.Contains([]string{"title", "aria-label", "alt", "data-label", "data-words", "placeholder", "label", "aria-description", "aria-roledescription", "summary"}, a.Key) {
					// The page's script fills in the numbers of its words.
					all = append(all, saying{where + " @" + a.Key, strings.NewReplacer("{shown}", "1", "{all}", "2").Replace(a.Val)})
				}
			}
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c, where)
		}
	}
	walk(root, "")
	return all
}

var (
	cssContent = regexp.MustCompile(`content:((?:"[^"]*"|[^;}"])*)`)
	cssText    = regexp.MustCompile(`"([^"]*)"`)
	cssEscape  = regexp.MustCompile(`\\([0-9a-fA-F]{1,6}) ?`)
)

// unescaped reads a CSS string.
func unescaped(text string) string {
	return cssEscape.ReplaceAllStringFunc(text, func(escape string) string {
		n, _ := strconv.ParseInt(cssEscape.FindStringSubmatch(escape)[1], 16, 32)
		return string(rune(n))
	})
}
