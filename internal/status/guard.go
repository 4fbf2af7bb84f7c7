package status

import (
	"regexp"
	"slices"
	"strings"
	"unicode"

	"thawline/internal/site"
	"thawline/internal/store"
)

// Guard decides which codes in no map may be shown: on the screen, as JSON, in a
// pack. It knows all readings that there are, so that the answer is the same
// wherever it is asked. A wrongly mapped column may hold anything: a code that
// several patients share may be shown, one that is rare and has the form of a
// number or a name of a person may not; and of a column whose texts, taken
// together, are numbers or names of persons, none is.
type Guard struct {
	site  *site.Site
	codes map[code]*told
	looks map[kind]*look
}

// NewGuard looks at the codes of all readings of a site.
func NewGuard(s *site.Site, readings []store.Reading) *Guard {
	g := &Guard{site: s, codes: map[code]*told{}, looks: map[kind]*look{}}
	maps := map[string]bool{}
	for i := range s.Feeds {
		maps[s.Feeds[i].Table.Name+store.SHA256(s.Feeds[i].Effective(s))] = true
	}
	eachCode(readings, func(r *store.Reading, c code, rows int64, _ string) {
		if g.codes[c] == nil {
			g.codes[c] = &told{}
		}
		g.codes[c].rows += rows
		g.codes[c].byMap = g.codes[c].byMap || maps[r.Table+r.Map]
		// The same patients stand in many exports: those of each count by themselves.
		_, shared := slices.BinarySearch(r.SharedCodes, c.column+"="+c.word)
		g.codes[c].shared = g.codes[c].shared || shared
	})
	for c, t := range g.codes {
		// What stands in the place of rows is named by the format's own codes, whose
		// patients are not known.
		t.shared = t.shared || c.severity == SetAside && !codesOfRows[c.column]
		if g.looks[c.kind] == nil {
			g.looks[c.kind] = &look{}
		}
		g.looks[c.kind].add(t.rows, !t.shared && mayNamePerson(c.column, c.word))
	}
	return g
}

// eachCode calls use for each code in no map of each reading.
func eachCode(readings []store.Reading, use func(r *store.Reading, c code, rows int64, unit string)) {
	for i := range readings {
		r := &readings[i]
		of := func(severity, text string) code {
			column, word, _ := strings.Cut(text, "=")
			return code{kind{table: r.Table, severity: severity, column: column}, word}
		}
		for text, c := range r.SetAsideCodes {
			use(r, of(SetAside, text), c.Count, c.ExampleUnit)
		}
		for text, n := range r.Unmapped {
			use(r, of(Unmapped, text), n, "")
		}
	}
}

// MappedSince says that a code is in the site's maps as they are now, and that
// all readings which did not know it were made by earlier ones.
func (g *Guard) MappedSince(table, severity, column, word string) bool {
	if t := g.codes[code{kind{table: table, severity: severity, column: column}, word}]; t == nil || t.byMap {
		return false
	}
	word = strings.ToLower(strings.TrimSpace(word))
	if _, known := g.site.Products[word]; column == "product_code" {
		return known
	}
	return slices.ContainsFunc(g.site.Feeds, func(f site.Feed) bool {
		return f.Table.Name == table && (f.Codes[column][word] != "" || f.Ignore[word])
	})
}

// hides says that no code of a column is shown.
func (g *Guard) hides(k kind) bool { return g.looks[k] != nil && !g.looks[k].codes() }

// Shown gives a code of a column as it may be shown: cut to a length that fits a
// line, without control characters. severity is SetAside or Unmapped. ok is
// false for a code that is not shown, and for one that no reading holds.
func (g *Guard) Shown(table, severity, column, word string) (shown string, ok bool) {
	k := kind{table: table, severity: severity, column: column}
	t := g.codes[code{k, word}]
	if t == nil || g.hides(k) || !(t.shared && t.rows >= commonRows) && mayNamePerson(column, word) {
		return "", false
	}
	return printed(word), true
}

// notShown stands in the place of codes that are not shown.
const notShown = "(not shown)"

// ShownCodes gives the codes of one file as they may be shown, by
// "column=code". Those that are not shown are counted together by column.
func (g *Guard) ShownCodes(table string, setAside map[string]store.CodeCount, unmapped map[string]int64) (map[string]store.CodeCount, map[string]int64) {
	key := func(severity, text string) (string, bool) {
		column, word, _ := strings.Cut(text, "=")
		shown, ok := g.Shown(table, severity, column, word)
		if !ok {
			shown = notShown
		}
		return column + "=" + shown, ok
	}
	var left map[string]store.CodeCount
	for text, c := range setAside {
		if left == nil {
			left = map[string]store.CodeCount{}
		}
		name, ok := key(SetAside, text)
		sum := left[name]
		sum.Count += c.Count
		if ok {
			sum.ExampleUnit = ShownUnit(c.ExampleUnit)
		}
		left[name] = sum
	}
	var unknown map[string]int64
	for text, n := range unmapped {
		if unknown == nil {
			unknown = map[string]int64{}
		}
		name, _ := key(Unmapped, text)
		unknown[name] += n
	}
	return left, unknown
}

// look is what the texts of one column look like, taken together.
type look struct {
	distinct, once, personal int
	rows                     int64
}

func (l *look) add(rows int64, personal bool) {
	l.distinct++
	l.rows += rows
	if rows == 1 {
		l.once++
	}
	if personal {
		l.personal++
	}
}

// codes says that the texts may be codes. A list of codes is short beside the
// rows that bear them; of numbers or names of persons there are many, most of
// them long, each with few rows.
func (l *look) codes() bool {
	const many, some, rowsOfCode = 50, 20, 50
	if l.distinct >= many && 2*l.once > l.distinct {
		return false
	}
	return l.distinct < some || 2*l.personal <= l.distinct || l.rows >= rowsOfCode*int64(l.distinct)
}

// productForm is the form of a product code of the international standard for
// labels of blood: a letter, four digits, the type of donation and the division.
var productForm = regexp.MustCompile(`^[A-Z][0-9]{4}[A-Z0-9][A-Z0-9]{2}$`)

// ownWords are words of this program in the place of a code.
var ownWords = map[string]bool{"patient=without another number": true, "patient=without a time of death": true, "supplied=no blood product": true, "procedure=without a blood product": true}

// mayNamePerson says that a text has the form of a number of a person (four
// digits, together or in groups, with or without letters: a date of birth is
// one), of a name (two or three words of letters alone), or of free text (four
// words). Published codes of the column are none.
func mayNamePerson(column, text string) bool {
	if ownWords[column+"="+text] {
		return false
	}
	digits := 0
	for _, r := range text {
		if unicode.IsDigit(r) {
			digits++
		}
	}
	if digits >= 4 {
		switch column {
		case "product_code":
			return !productForm.MatchString(text)
		case "test", "kind":
			return !loincForm(text)
		}
		return true
	}
	words := strings.FieldsFunc(text, func(r rune) bool { return unicode.IsSpace(r) || r == ',' || r == ';' || r == '^' })
	if len(words) >= 4 {
		return true
	}
	return len(words) >= 2 && !slices.ContainsFunc(words, func(word string) bool {
		return strings.ContainsFunc(word, func(r rune) bool {
			return !unicode.IsLetter(r) && !unicode.IsMark(r) && !strings.ContainsRune("'\u2019.-", r)
		})
	})
}

// loincForm reports whether a text is a number of LOINC with its check digit
// (modulus 10, each second digit from the right doubled).
func loincForm(text string) bool {
	number, check, found := strings.Cut(text, "-")
	if !found || len(check) != 1 || len(number) > 6 {
		return false
	}
	sum := 0
	for i := range len(number) {
		n := int(number[len(number)-1-i]) - '0'
		if n < 0 || n > 9 {
			return false
		}
		if i%2 == 0 {
			n = 2 * n
			n = n/10 + n%10
		}
		sum += n
	}
	return int(check[0])-'0' == (10-sum%10)%10
}

// longestCode is the longest text that is shown whole; a text that may name a
// person is shown only where it has commonRows, of several patients.
const (
	longestCode = 40
	commonRows  = 5
)

// shownExample gives a text of a row that could not be read as it may be shown,
// where nothing is known of its patients.
func shownExample(column, text string) (shown string, ok bool) {
	if column == "unit_raw" {
		shown = ShownUnit(text)
		return shown, shown != ""
	}
	return printed(text), !mayNamePerson(column, text)
}

// bodySurface is the surface to which a clearance is related: the one unit with
// so many digits.
var bodySurface = strings.NewReplacer("1.73", "", "1,73", "")

// ShownUnit gives a unit as it may be shown, or nothing: it stands beside a code
// of many patients, but was taken from the row of one.
func ShownUnit(unit string) string {
	if mayNamePerson("unit_raw", bodySurface.Replace(unit)) {
		return ""
	}
	return printed(unit)
}

// printed cuts a text to a length that fits a line, without control characters.
func printed(text string) string {
	var kept []rune
	for _, r := range text {
		if !unicode.IsPrint(r) {
			r = ' '
		}
		if kept = append(kept, r); len(kept) > longestCode {
			kept[longestCode] = '…'
			break
		}
	}
	return string(kept)
}
