package inspect

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/runes"
	"golang.org/x/text/transform"
	"golang.org/x/text/unicode/norm"

	"thawline/internal/contract"
)

//go:embed headers.txt
var headersText string

//go:embed codes.txt
var codesText string

// lexicon is what headers.txt and codes.txt say.
type lexicon struct {
	// meanings gives what a word may mean.
	meanings map[string][]string
	// files gives, for a table, words of a file's name.
	files map[string][]string
	// columns gives, for table.column, the sets of meanings that name it.
	columns map[string][][]string
	// codes gives, for table.column, the contract's word of a plain local word.
	codes map[string]map[string]string
	// all are the local words of codes.
	all map[string]bool
}

var words = readLexicon()

// plain brings a text to the form in which words are compared: lower case,
// without accents, outer spaces and doubled spaces.
func plain(text string) string {
	if !strings.ContainsFunc(text, func(r rune) bool { return r >= 0x80 }) {
		return strings.Join(strings.Fields(strings.ToLower(text)), " ")
	}
	bare, _, err := transform.String(transform.Chain(norm.NFD, runes.Remove(runes.In(unicode.Mn)), norm.NFC), text)
	if err != nil {
		bare = text
	}
	return strings.Join(strings.Fields(unaccented.Replace(strings.ToLower(bare))), " ")
}

// unaccented writes letters and signs that are no letter with an accent.
var unaccented = strings.NewReplacer("ß", "ss", "ø", "o", "æ", "ae", "µ", "u", "μ", "u")

func readLexicon() *lexicon {
	l := &lexicon{meanings: map[string][]string{}, files: map[string][]string{}, columns: map[string][][]string{}, codes: map[string]map[string]string{}, all: map[string]bool{}}
	part := ""
	lines(headersText, func(line string) {
		if line[0] == '[' {
			part = line
			return
		}
		name, rest, found := strings.Cut(line, ":")
		if !found {
			panic("inspect: headers.txt: " + line)
		}
		if part == "[words]" {
			for _, word := range strings.Fields(rest) {
				word = plain(word)
				if !slices.Contains(l.meanings[word], name) {
					l.meanings[word] = append(l.meanings[word], name)
				}
			}
			return
		}
		if part == "[tables]" {
			l.files[name] = strings.Fields(rest)
			return
		}
		table, column, _ := strings.Cut(name, ".")
		if t := contract.Find(table); t == nil || t.Column(column) == nil {
			panic("inspect: headers.txt: no column " + name)
		}
		for _, way := range strings.Split(rest, "|") {
			l.columns[name] = append(l.columns[name], strings.Fields(way))
		}
	})
	lines(codesText, func(line string) {
		name, rest, found := strings.Cut(line, ": ")
		if !found {
			panic("inspect: codes.txt: " + line)
		}
		column, word, _ := strings.Cut(name, ".")
		switch column {
		case "products", "units":
		default:
			var code string
			code, word, _ = strings.Cut(word, ".")
			c := contract.Find(column).Column(code)
			if c == nil || !slices.Contains(c.Codes, word) {
				panic(fmt.Sprintf("inspect: codes.txt: no word %s of %s.%s", word, column, code))
			}
			column += "." + code
		}
		if l.codes[column] == nil {
			l.codes[column] = map[string]string{}
		}
		for _, local := range strings.Split(rest, ";") {
			l.codes[column][plain(local)] = word
			l.all[plain(local)] = true
		}
	})
	return l
}

// lines calls use for each line that says something.
func lines(text string, use func(string)) {
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line != "" && line[0] != '#' {
			use(line)
		}
	}
}

// token is one word of a header and what it may mean; no meaning is an unknown word.
type token struct {
	text     string
	meanings []string
}

// weak are meanings that say little beside another.
var weak = []string{"number", "code", "time", "of", "by", "name"}

// tokens cuts a header into words: at signs, digits and capitals, and where
// known words are joined.
func tokens(header string) []token {
	var all []token
	for _, word := range cut(header) {
		all = append(all, parts(plain(word))...)
	}
	return all
}

// cut parts a header at signs, digits, and where capitals begin a word.
func cut(header string) []string {
	var found []string
	var word []rune
	flush := func() {
		if len(word) > 0 {
			found = append(found, string(word))
			word = nil
		}
	}
	text := []rune(header)
	for i, r := range text {
		if !unicode.IsLetter(r) && !unicode.Is(unicode.Mn, r) {
			flush()
			continue
		}
		if i > 0 && unicode.IsUpper(r) {
			before := text[i-1]
			next := i+1 < len(text) && unicode.IsLower(text[i+1])
			if unicode.IsLower(before) || unicode.IsUpper(before) && next {
				flush()
			}
		}
		word = append(word, r)
	}
	flush()
	return found
}

// links are letters that join the words of a compound.
var links = []string{"", "s", "n", "en", "es"}

// parts gives a word, or the known words that it is joined of.
func parts(word string) []token {
	if m := words.meanings[word]; m != nil {
		return []token{{word, m}}
	}
	if joined := split(word); joined != nil {
		return joined
	}
	return []token{{word, nil}}
}

// short are short words that a compound may end in.
var short = []string{"no", "nr", "id", "dt", "ts", "um", "am", "at", "on"}

func split(word string) []token {
	for end := len(word); end >= 3; end-- {
		m := words.meanings[word[:end]]
		if m == nil {
			continue
		}
		head := token{word[:end], m}
		rest := word[end:]
		if rest == "" {
			return []token{head}
		}
		for _, link := range links {
			tail, linked := strings.CutPrefix(rest, link)
			if !linked || tail == "" {
				continue
			}
			if slices.Contains(short, tail) {
				return []token{head, {tail, words.meanings[tail]}}
			}
			if more := split(tail); more != nil {
				return append([]token{head}, more...)
			}
		}
	}
	return nil
}

// named scores from 0 to 1 how well a header names a column of a table. The
// contract's own name is 1.
func named(header []token, name, table, column string) float64 {
	if plain(name) == column || plain(name) == strings.TrimSuffix(column, "_raw") {
		return 1
	}
	ways := words.columns[table+"."+column]
	all := slices.Concat(ways...)
	best := 0.0
	for _, way := range ways {
		best = max(best, covers(header, way, all))
	}
	return best
}

// covers is how much of a header is said by a set of meanings that must all be in
// it, and by others that belong to them; 0 where one of the set is missing.
func covers(header []token, way, others []string) float64 {
	used := make([]bool, len(header))
	for _, meaning := range way {
		found := false
		for i, t := range header {
			if slices.Contains(t.meanings, meaning) {
				// A word may stand for two meanings (Entnahmezeit), a meaning in two words (VolML).
				found, used[i] = true, true
			}
		}
		if !found {
			return 0
		}
	}
	said, all := 0.0, 0.0
	for i, t := range header {
		used[i] = used[i] || slices.ContainsFunc(t.meanings, func(m string) bool { return slices.Contains(others, m) })
		weight := 1.0
		if len(t.meanings) > 0 && slices.ContainsFunc(t.meanings, func(m string) bool { return slices.Contains(weak, m) }) {
			weight = 0.4
		}
		all += weight
		if used[i] {
			said += weight
		}
	}
	if all == 0 {
		return 0
	}
	return said / all
}

// means reports whether a word of the header has one of the meanings.
func means(header []token, meanings ...string) bool {
	return slices.ContainsFunc(header, func(t token) bool {
		return slices.ContainsFunc(t.meanings, func(m string) bool { return slices.Contains(meanings, m) })
	})
}

// codeOf gives the contract's word for a plain local word of a column, or "".
func codeOf(table, column, local string) string {
	local = plain(local)
	if word := words.codes[table+"."+column][local]; word != "" {
		return word
	}
	t := contract.Find(table)
	if t == nil {
		return ""
	}
	c := t.Column(column)
	if c == nil {
		return ""
	}
	// Every table may say that a row is cancelled, in the words of a laboratory.
	if word := words.codes["labs."+column][local]; column == "status" && slices.Contains(c.Codes, word) {
		return word
	}
	codes := c.Codes
	if c.Kind == contract.Bool {
		if codes = []string{"true", "false"}; slices.Contains([]string{"yes", "no", "1", "0"}, local) {
			return local
		}
	}
	for _, code := range codes {
		if strings.EqualFold(code, local) {
			return code
		}
	}
	return ""
}

// isLetter reports whether r is a letter.
func isLetter(r rune) bool { return unicode.IsLetter(r) }
