package inspect

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"thawline/internal/contract"
	"thawline/internal/normalise"
)

// longestCode is the longest text, in characters, that is taken for a code.
const longestCode = 30

// shown lists the codes of column i that may be shown, the commonest first, and
// counts the others. A word of the lexicon tells of nobody. Any other text is
// shown only where it stands in several rows of several patients and has the
// form of a code; what could be a name is shown only in a column that plainly
// holds codes, or that the person at the other end vouches for. A column most of
// whose rows may not be shown is no list of codes, and then none of it is but the
// lexicon's words.
func (g *group) shown(i int) (codes []Code, hidden int, hiddenRows int64) {
	p, one := g.columns[i], g.best.roles[i]
	table, column := g.best.table.Name, mapOf(one.name)
	known := func(text string) bool {
		return codeOf(table, column, text) != "" || column == "product_code" && productOf(text) != "" || column == "unit_raw" && plainUnit(text) || g.understood(column, text)
	}
	// Of a few letters beside a result the rare ones matter most: a correction, a
	// cancellation.
	short := column == "status" && one.header >= 0.9 && p.distinct() <= 20
	may, hidden, hiddenRows := g.sift(i, column, g.seen.codes[i], p.filled, short, known)
	for _, text := range may {
		codes = append(codes, g.code(i, text, g.seen.codes[i][text]))
	}
	byRows(codes)
	return codes, hidden, hiddenRows
}

// byRows sorts codes, the commonest first.
func byRows(codes []Code) {
	slices.SortFunc(codes, func(a, b Code) int {
		return cmp.Or(cmp.Compare(b.Rows, a.Rows), cmp.Compare(a.Code, b.Code))
	})
}

// sift parts the texts of column i that may be shown from those that may not, as
// shown has it. short lets texts of up to three letters and digits through.
func (g *group) sift(i int, column string, seen map[string]*beside, filled int64, short bool, known func(string) bool) (shown []string, hidden int, hiddenRows int64) {
	vouched := slices.ContainsFunc(g.vouched, func(name string) bool { return strings.EqualFold(name, g.columns[i].name) })
	plainly := map[string]bool{}
	wordy := 0
	for text := range seen {
		if known(text) {
			plainly[text] = true
			wordy++
		} else if short && len([]rune(text)) <= 3 && !strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
			plainly[text] = true
		}
	}
	may, rows := map[string]bool{}, int64(0)
	allow := func(persons int) {
		for text, b := range seen {
			if !may[text] && (plainly[text] || g.shared(b, len(seen), persons) && (vouched || codeForm(text, column, wordy))) {
				may[text] = true
				rows += b.rows
			}
		}
	}
	allow(enoughPersons)
	most := 2*rows >= filled
	if 10*rows >= 9*filled {
		allow(2) // Beside so many codes the rare ones are codes too.
	}
	for text, b := range seen {
		if !may[text] || !most && !plainly[text] {
			hidden++
			hiddenRows += b.rows
			continue
		}
		shown = append(shown, text)
	}
	return shown, hidden, hiddenRows
}

// loose lists the codes of a column that has no role, by frequency, so that a
// person can tell what it is; a word of the lexicon of any column may be shown.
func (g *group) loose(i int) (codes []Code) {
	may, _, _ := g.sift(i, "", g.seen.codes[i], g.columns[i].filled, false, func(text string) bool { return words.all[plain(text)] })
	for _, text := range may {
		codes = append(codes, Code{Code: text, Rows: g.seen.codes[i][text].rows})
	}
	byRows(codes)
	return codes
}

// looseCodes reports whether column i, which has no role, may hold codes of which a
// person should see the common ones: a table's reading has it for some, or a person
// vouches for it, or no table is known at all.
func (g *group) looseCodes(i int) bool {
	p := g.columns[i]
	header := tokens(p.name)
	if p.name == "" || p.filled == 0 || p.distinct() < 0 || p.distinct() > mostCodes || means(header, "identity", "doctor", "by") || means(header, "name") && means(header, "patient") {
		return false
	}
	if slices.ContainsFunc(g.vouched, func(name string) bool { return strings.EqualFold(name, p.name) }) {
		return true
	}
	if g.best != nil && !slices.ContainsFunc(g.best.others[i], func(r role) bool { return coded(g.best.table, r.name) && r.name != "unit_raw" }) {
		return false
	}
	return !p.varied() && p.share(p.timed()) < 0.5 && p.share(p.numbers) < 0.5 && p.share(p.standard) < 0.2 && p.unitTexts() < 0.5
}

// noValues lists the words that stand in place of a result's number, with the
// contract's word where theirs is plain.
func (g *group) noValues() *Column {
	value := g.role("value_raw")
	if value < 0 || len(g.seen.texts) == 0 || g.role("no_value") >= 0 {
		return nil
	}
	rows := g.seen.textsMore
	for _, b := range g.seen.texts {
		rows += b.rows
	}
	known := func(text string) bool {
		return codeOf("labs", "no_value", text) != "" || normalise.NoValueWord([]byte(text))
	}
	may, hidden, hiddenRows := g.sift(value, "no_value", g.seen.texts, rows-g.seen.textsMore, false, known)
	c := &Column{Name: g.columns[value].name, Role: "no_value", Hidden: hidden, HiddenRows: hiddenRows + g.seen.textsMore}
	for _, text := range may {
		code := Code{Code: text, Rows: g.seen.texts[text].rows, Word: codeOf("labs", "no_value", text)}
		if normalise.NoValueWord([]byte(text)) {
			code.Word = text // Known without a map.
		}
		c.Codes = append(c.Codes, code)
	}
	byRows(c.Codes)
	return c
}

func plainUnit(text string) bool {
	unit, _ := unitOf(text)
	return unit != "" || text == "1"
}

// shared reports whether a text stands in enough rows of enough patients. Where
// no column of patients is known, a short list is taken for codes.
func (g *group) shared(b *beside, distinct, persons int) bool {
	if b.rows < enoughRows {
		return false
	}
	if g.seen.persons {
		return len(b.persons) >= persons
	}
	return distinct <= 20
}

// codeForm reports whether a text has the form of a code and of no name, number
// or time. What could be a name is a code in a column that holds words of the
// lexicon too: four capitals beside one of them, words beside two.
func codeForm(text, column string, wordy int) bool {
	longest := 3
	if column == "product_code" || column == "test" {
		longest = 5 // product codes and LOINC have so many
	}
	runes := []rune(text)
	if digitRun(text) > longest || len(runes) > longestCode || strings.ContainsAny(text, ",@\"") {
		return false
	}
	if f, _ := familyOf(text); f != nil {
		return false
	}
	lower := strings.ContainsFunc(text, unicode.IsLower)
	digit := strings.ContainsFunc(text, unicode.IsDigit)
	if !strings.ContainsFunc(text, unicode.IsSpace) && len(runes) <= 10 && (!lower || digit) {
		return digit || len(runes) <= 3 || wordy >= 1
	}
	return wordy >= 2 && len(strings.Fields(text)) <= 4
}

// code tells of one code what stands beside it.
func (g *group) code(i int, text string, b *beside) Code {
	one := g.best.roles[i]
	table, column := g.best.table.Name, mapOf(one.name)
	c := Code{Code: text, Rows: b.rows, Word: codeOf(table, column, text)}
	switch {
	case column == "unit_raw":
		unit, itself := unitOf(text)
		if !itself {
			c.Word = unit
		}
		if itself || text == "1" {
			c.Word = text
		} else if plain(text) == "t/nl" {
			c.Note = "check: by its letters it is a thousand times more"
		}
	case column == "test", g.best.table == contract.Measures && column == "kind":
		c.Word, c.Note = g.measuredAs(c.Word, b)
	case column == "product_code":
		c.Word = productOf(text)
		c.ML, _ = usual(b.volumes)
		if low, high, ok := middle(b.volumes); ok && c.ML == 0 {
			c.Note = fmt.Sprintf("half of them from %g to %g mL", low, high)
		}
		if name := g.described(b); name != "" {
			c.Note = strings.TrimPrefix(c.Note+", "+name, ", ")
			c.Word = cmp.Or(productOf(name), c.Word)
		}
	}
	if g.understood(column, text) {
		c.Word = text
	}
	return c
}

// described gives the one description of a product, where all its rows bear it
// and it may be shown.
func (g *group) described(b *beside) string {
	if len(b.names) != 1 || b.rows < enoughRows {
		return ""
	}
	for name := range b.names {
		if productOf(name) != "" || g.shared(b, len(g.columns[g.seen.describes].texts), enoughPersons) && codeForm(name, "", 2) {
			return name
		}
	}
	return ""
}

// measuredAs asks the units of a test whether it can be what its code says. A
// time and a ratio of one name are told apart by the unit alone. Of units that the
// test does not have, those are named that may be.
func (g *group) measuredAs(word string, b *beside) (confirmed, note string) {
	var names, strange []string
	fit, unfit, unnamed := int64(0), int64(0), int64(0)
	for unit, n := range b.units {
		if word != "" && fitsUnit(word, unit) {
			fit += n
			names = append(names, unit)
			continue
		}
		unfit += n
		switch {
		case word == "" && plainUnit(unit):
			names = append(names, unit)
		case plainUnit(unit) || g.unitsShown()[unit]:
			strange = append(strange, unit)
		default:
			unnamed += n
		}
	}
	byCount := func(x, y string) int { return cmp.Or(cmp.Compare(b.units[y], b.units[x]), cmp.Compare(x, y)) }
	slices.SortFunc(names, byCount)
	slices.SortFunc(strange, byCount)
	var parts []string
	if len(names) > 0 {
		parts = append(parts, "in "+strings.Join(names[:min(3, len(names))], ", "))
	}
	if len(strange) > 0 {
		says := "which site.yaml does not know"
		if word != "" {
			says = "which " + word + " does not have"
		}
		where := "in " + strings.Join(strange[:min(3, len(strange))], ", ")
		if len(names) > 0 || unnamed > 0 || b.noUnit > 0 {
			where = fmt.Sprintf("%d rows %s", unfit-unnamed, where)
		}
		parts = append(parts, where+", "+says)
	}
	if unnamed > 0 {
		parts = append(parts, fmt.Sprintf("%d rows in units that site.yaml does not know", unnamed))
	}
	switch {
	case b.noUnit > 0 && len(parts) > 0:
		parts = append(parts, fmt.Sprintf("%d rows without a unit", b.noUnit))
	case b.noUnit > 0:
		parts = append(parts, "no unit")
	}
	note = strings.Join(parts, "; ")
	if word == "" {
		return "", note
	}
	if unfit > 0 && float64(unfit) > 0.05*float64(fit) {
		return "", note
	}
	if (word == "pt_s" || word == "aptt_s") && fit == 0 {
		return "", note + ": a time, a ratio or a percentage?"
	}
	return word, note
}

// unitsShown are the texts of the column of units that may be shown.
func (g *group) unitsShown() map[string]bool {
	if g.seen.unitsShown == nil {
		g.seen.unitsShown = map[string]bool{}
		if i := g.role("unit_raw"); i >= 0 && g.seen.codes[i] != nil {
			may, _, _ := g.sift(i, "unit_raw", g.seen.codes[i], g.columns[i].filled, false, plainUnit)
			for _, unit := range may {
				g.seen.unitsShown[unit] = true
			}
		}
	}
	return g.seen.unitsShown
}

// unitsWanted lists the analytes with rows that state no unit.
func (g *group) unitsWanted() []UnitWanted {
	i := g.role("test", "kind")
	if i < 0 || tableOf(g.best) != contract.Labs && tableOf(g.best) != contract.Measures {
		return nil
	}
	values, rows := map[string][]float64{}, map[string]int64{}
	for text, b := range g.seen.codes[i] {
		word, _ := g.measuredAs(codeOf(g.best.table.Name, mapOf(g.best.roles[i].name), text), b)
		if word != "" && needsUnit(word) && b.noUnit > 0 {
			values[word] = append(values[word], b.unitless...)
			rows[word] += b.noUnit
		}
	}
	var all []UnitWanted
	for _, a := range analytes {
		if rows[a] > 0 {
			w := UnitWanted{Analyte: a, Rows: rows[a]}
			w.Low, w.High, _ = middle(values[a])
			all = append(all, w)
		}
	}
	return all
}

// products gathers the product codes of all feeds of issues, and counts the rows of
// those that may not be shown.
func products(groups []*group) (all []Code, hiddenRows int64) {
	byCode := map[string]*Code{}
	var order []string
	for _, g := range groups {
		i := g.role("product_code")
		if tableOf(g.best) != contract.Issues || i < 0 {
			continue
		}
		codes, _, rows := g.shown(i)
		hiddenRows += rows
		for _, c := range codes {
			key := strings.ToLower(c.Code)
			if have := byCode[key]; have != nil {
				have.Rows += c.Rows
				continue
			}
			byCode[key] = &c
			order = append(order, key)
		}
	}
	for _, key := range order {
		all = append(all, *byCode[key])
	}
	slices.SortStableFunc(all, func(a, b Code) int { return cmp.Compare(b.Rows, a.Rows) })
	return all, hiddenRows
}
