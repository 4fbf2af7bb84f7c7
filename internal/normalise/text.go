package normalise

import (
	"bytes"
	"strings"
	"unicode"
	"unicode/utf8"
)

// trim takes outer spaces off, and what is not seen there: a no-break space, a
// mark of the direction of writing, a joiner. Two numbers that look alike are.
func trim(b []byte) []byte {
	if n := len(b); n > 0 && b[0]-'!' < utf8.RuneSelf-'!' && b[n-1]-'!' < utf8.RuneSelf-'!' {
		return b // Most cells: both ends are seen, and of one byte.
	}
	return trimmed(b)
}

func trimmed(b []byte) []byte {
	for len(b) > 0 && b[0] <= ' ' {
		b = b[1:]
	}
	for len(b) > 0 && b[len(b)-1] <= ' ' {
		b = b[:len(b)-1]
	}
	if len(b) > 0 && (b[0] >= utf8.RuneSelf || b[len(b)-1] >= utf8.RuneSelf) {
		return bytes.TrimFunc(b, unseen)
	}
	return b
}

// unseen reports whether a character is a space of any width, or not seen.
func unseen(r rune) bool { return unicode.IsSpace(r) || unicode.Is(unicode.Cf, r) }

// fold appends b in lower case to into: the form in which codes are compared.
func fold(into, b []byte) []byte {
	for _, c := range b {
		if c >= utf8.RuneSelf {
			return append(into[:0], strings.ToLower(string(b))...)
		}
		if 'A' <= c && c <= 'Z' {
			c += 'a' - 'A'
		}
		into = append(into, c)
	}
	return into
}

// shorten keeps a problem's raw text to a size that a person reads.
func shorten(b []byte) []byte {
	const limit = 200
	if len(b) <= limit {
		return b
	}
	cut := limit
	for cut > 0 && !utf8.RuneStart(b[cut]) {
		cut--
	}
	return b[:cut]
}

// codeMap brings local codes to words of the contract.
type codeMap struct {
	// index is by folded code.
	index map[string]int
	words [][]byte
}

// newCodes joins a vocabulary with the published codes of a format and the
// site's map, the later before the earlier. A word on the ignore list is not in
// the map.
func newCodes(words []string, published, local map[string]string, ignore map[string]bool) *codeMap {
	c := &codeMap{index: map[string]int{}}
	places := map[string]int{}
	for i, w := range words {
		c.words = append(c.words, []byte(w))
		places[w] = i
		if key := strings.ToLower(w); !ignore[key] {
			c.index[key] = i
		}
	}
	for code, word := range published {
		if !ignore[code] {
			c.index[code] = places[word]
		}
	}
	for code, word := range local {
		c.index[code] = places[word]
	}
	return c
}

// boolCodes knows true/false, yes/no, 1/0 and the site's own words.
func boolCodes(local map[string]string) *codeMap {
	c := &codeMap{index: map[string]int{"false": 0, "no": 0, "0": 0, "true": 1, "yes": 1, "1": 1}, words: [][]byte{[]byte("false"), []byte("true")}}
	for code, word := range local {
		c.index[code] = 0
		if word == "true" {
			c.index[code] = 1
		}
	}
	return c
}
