package inspect

import (
	"regexp"
	"strings"
	"unicode"

	"golang.org/x/text/runes"
	"golang.org/x/text/transform"
	"golang.org/x/text/unicode/norm"
)

// monthNames are the months in English, German, Dutch, French and Spanish, long and
// short, without accents. Names that begin the same stand the longest first.
var monthNames = [12]string{
	"january|januar|janner|januari|janvier|enero|jan|janv|ene|jaen",
	"february|februar|feber|februari|fevrier|febrero|feb|fevr|fev",
	"march|marz|maerz|maart|mars|marzo|mar|mrz|mrt",
	"april|avril|abril|apr|avr|abr",
	"may|mai|mei|mayo",
	"june|juni|juin|junio|jun",
	"july|juli|juillet|julio|jul|juil",
	"august|augustus|aout|agosto|aug|ago",
	"september|septembre|septiembre|sept|sep",
	"october|oktober|octobre|octubre|oct|okt",
	"november|novembre|noviembre|nov",
	"december|dezember|decembre|diciembre|dec|dez|dic",
}

// monthNamed finds a month's name as a word: letters beside it make another word.
var monthNamed = func() (all [12]*regexp.Regexp) {
	for i, names := range monthNames {
		all[i] = regexp.MustCompile(`(?i)(?:^|[^\p{L}])(` + names + `)(?:[^\p{L}]|$)`)
	}
	return all
}()

// monthIn gives the month that a base name tells in words, and the word; 0 where it
// tells none, or several.
func monthIn(base string) (month int, word string) {
	plain, _, err := transform.String(transform.Chain(norm.NFD, runes.Remove(runes.In(unicode.Mn)), norm.NFC), base)
	if err != nil {
		return 0, ""
	}
	for i, of := range monthNamed {
		if found := of.FindStringSubmatch(plain); found != nil {
			if month != 0 {
				return 0, ""
			}
			month, word = i+1, found[1]
		}
	}
	return month, word
}

// monthsInWords lists the months that names tell in words, each once, in the order
// in which the names stand, and says whether that order is another than that of time.
func monthsInWords(names []string) (words []string, outOfOrder bool) {
	last := 0
	for _, name := range names {
		month, word := monthIn(name)
		if month == 0 {
			continue
		}
		outOfOrder = outOfOrder || month < last
		last = month
		if len(words) == 0 || !strings.EqualFold(words[len(words)-1], word) {
			words = append(words, word)
		}
	}
	return words, outOfOrder
}
