package words

import (
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// numberForm is a number as texts of ours write it: with a decimal point, or with its
// thousands parted by commas.
var numberForm = regexp.MustCompile(`^(?:[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?|[0-9]+\.[0-9]+)$`)

// swapped turns one way of writing numbers into the other.
var swapped = strings.NewReplacer(".", ",", ",", ".")

// Comma is a text of ours as a site with a decimal comma writes it: 7.3 is 7,3, and
// 3,383 is 3.383. It turns numbers that stand by themselves, before anything is filled
// in. What has several points (a date, a section, a version like 3.2.1), or touches a
// letter or one of / \ _ - : @ # (the name of a product, a DOI, a path), is no number.
// A version of two parts looks like a number: texts of ours state none. It is for
// texts of ours alone, never for what a site wrote.
func Comma(text string) string {
	isNumeral := func(b byte) bool { return b >= '0' && b <= '9' || b == '.' || b == ',' }
	var out strings.Builder
	last := 0
	for i := 0; i < len(text); i++ {
		if text[i] < '0' || text[i] > '9' {
			continue
		}
		from := i
		for i < len(text) && isNumeral(text[i]) {
			i++
		}
		// A point or comma after it ends a sentence or clause.
		to := from + len(strings.TrimRight(text[from:i], ".,"))
		before, _ := utf8.DecodeLastRuneInString(text[:from])
		after, _ := utf8.DecodeRuneInString(text[to:])
		if numberForm.MatchString(text[from:to]) && !joins(before) && !joins(after) && (from == 0 || !isNumeral(text[from-1])) {
			out.WriteString(text[last:from])
			out.WriteString(swapped.Replace(text[from:to]))
			last = to
		}
	}
	if last == 0 {
		return text
	}
	out.WriteString(text[last:])
	return out.String()
}

// joins says that a sign beside a number makes it a part of something else.
func joins(r rune) bool {
	return unicode.IsLetter(r) || strings.ContainsRune(`/\_-:@#`, r)
}

// WithComma is the language as a site with a decimal comma writes it.
func (l *Language) WithComma() *Language {
	l.once.Do(func() {
		all := func(texts map[string]string) map[string]string {
			out := make(map[string]string, len(texts))
			for key, text := range texts {
				out[key] = Comma(text)
			}
			return out
		}
		l.comma = &Language{Name: l.Name, Words: all(l.Words), Facts: all(l.Facts), Months: l.Months, Texts: all(l.Texts), turned: true}
	})
	return l.comma
}
