package inspect

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"thawline/internal/contract"
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
	vouched := slices.ContainsFunc(g.vouched, func(name string) bool { return strings.EqualFold(name, p.name) })
	table, column := g.best.table.Name, mapOf(one.name)
	known := func(text string) bool {
		return codeOf(table, column, text) != "" || column == "product_code" && productOf(text) != "" || column == "unit_raw" && plainUnit(text) || g.understood(column, text)
	}
	wordy := 0
	for text := range p.texts {
		if known(text) {
			wordy++
		}
	}
	may, rows := map[string]bool{}, int64(0)
	allow := func(persons int) {
		for text, b := range g.seen.codes[i] {
			if !may[text] && (known(text) || g.shared(b, p, persons) && (vouched || codeForm(text, column, wordy))) {
				may[text] = true
				rows += b.rows
			}
		}
	}
	allow(enoughPersons)
	most := 2*rows >= p.filled
	if 10*rows >= 9*p.filled {
		allow(2) // Beside so many codes the rare ones are codes too.
	}
	for text, b := range g.seen.codes[i] {
		if !may[text] || !most && !known(text) {
			hidden++
			hiddenRows += b.rows
			continue
		}
		codes = append(codes, g.code(i, text, b))
	}
	slices.SortFunc(codes, func(a, b Code) int {
		return cmp.Or(cmp.Compare(b.Rows, a.Rows), cmp.Compare(a.Code, b.Code))
	})
	return codes, hidden, hiddenRows
}

func plainUnit(text string) bool {
	unit, _ := unitOf(text)
	return unit != "" || text == "1"
}

// shared reports whether a text stands in enough rows of enough patients. Where
// no column of patients is known, a short list is taken for codes.
func (g *group) shared(b *beside, p *profile, persons int) bool {
	if b.rows < enoughRows {
		return false
	}
	if g.seen.persons {
		return len(b.persons) >= persons
	}
	return len(p.texts) <= 20
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
		if itself || text == "1" || !g.unitMatters(text) {
			c.Word = text
		}
	case column == "test", g.best.table == contract.Measures && column == "kind":
		c.Word, c.Note = measuredAs(c.Word, b)
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

// unitMatters reports whether a spelling of a unit stands beside a test or a
// measure that the contract knows: units of others need no meaning.
func (g *group) unitMatters(text string) bool {
	i := g.role("test", "kind")
	if i < 0 {
		return true
	}
	for code, b := range g.seen.codes[i] {
		if b.units[text] > 0 && codeOf(g.best.table.Name, mapOf(g.best.roles[i].name), code) != "" {
			return true
		}
	}
	return false
}

// described gives the one description of a product, where all its rows bear it
// and it may be shown.
func (g *group) described(b *beside) string {
	if len(b.names) != 1 || b.rows < enoughRows {
		return ""
	}
	for name := range b.names {
		if productOf(name) != "" || g.shared(b, g.columns[g.seen.describes], enoughPersons) && codeForm(name, "", 2) {
			return name
		}
	}
	return ""
}

// measuredAs asks the units of a test whether it can be what its code says. A
// time and a ratio of one name are told apart by the unit alone.
func measuredAs(word string, b *beside) (confirmed, note string) {
	var names []string
	fit, unfit := int64(0), int64(0)
	for unit, n := range b.units {
		if word != "" && fitsUnit(word, unit) {
			fit += n
		} else {
			unfit += n
		}
		if plainUnit(unit) {
			names = append(names, unit)
		}
	}
	slices.SortFunc(names, func(x, y string) int {
		return cmp.Or(cmp.Compare(b.units[y], b.units[x]), cmp.Compare(x, y))
	})
	switch {
	case len(names) > 0:
		note = "in " + strings.Join(names[:min(3, len(names))], ", ")
		if b.noUnit > 0 {
			note += fmt.Sprintf("; %d rows without a unit", b.noUnit)
		}
	case len(b.units) > 0:
		note = "in units that site.yaml does not know"
	case b.noUnit > 0:
		note = "no unit"
	}
	if word == "" {
		return "", note
	}
	if unfit > 0 && float64(unfit) > 0.05*float64(fit) {
		return "", note + ", which " + word + " does not have"
	}
	if (word == "pt_s" || word == "aptt_s") && fit == 0 {
		return "", note + ": a time, a ratio or a percentage?"
	}
	return word, note
}

// unitsWanted lists the analytes with rows that state no unit.
func (g *group) unitsWanted() []UnitWanted {
	i := g.role("test", "kind")
	if i < 0 || tableOf(g.best) != contract.Labs && tableOf(g.best) != contract.Measures {
		return nil
	}
	values, rows := map[string][]float64{}, map[string]int64{}
	for text, b := range g.seen.codes[i] {
		word, _ := measuredAs(codeOf(g.best.table.Name, mapOf(g.best.roles[i].name), text), b)
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

// products gathers the product codes of all feeds of issues.
func products(groups []*group) []Code {
	byCode := map[string]*Code{}
	var order []string
	for _, g := range groups {
		i := g.role("product_code")
		if tableOf(g.best) != contract.Issues || i < 0 {
			continue
		}
		codes, _, _ := g.shown(i)
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
	var all []Code
	for _, key := range order {
		all = append(all, *byCode[key])
	}
	slices.SortStableFunc(all, func(a, b Code) int { return cmp.Compare(b.Rows, a.Rows) })
	return all
}
