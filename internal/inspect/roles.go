package inspect

import (
	"cmp"
	"regexp"
	"slices"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/normalise"
	"thawline/internal/site"
)

// What a column or a table is believed to be, by score.
const (
	sureScore      = 0.8  // stated without a question
	likelyScore    = 0.6  // stated, with "check"
	candidateScore = 0.35 // named for a person to decide
)

// analytes are all tests and kinds of measure.
var analytes = append(slices.Clone(contract.Tests), contract.Measures.Column("kind").Codes...)

// codedColumns are the columns whose local codes a map in site.yaml brings to
// the contract's words, by table; unit_raw and product_code hold codes too.
func coded(t *contract.Table, column string) bool {
	c := t.Column(strings.TrimSuffix(column, "_raw"))
	return c != nil && (c.Codes != nil || c.Kind == contract.Bool) || column == "unit_raw" || column == "product_code"
}

// mapOf is the key of site.yaml under which a column's codes are mapped.
func mapOf(column string) string {
	if column == "unit_raw" {
		return column
	}
	return strings.TrimSuffix(column, "_raw")
}

var monthCell = regexp.MustCompile(`^\d{4}-(0[1-9]|1[0-2])$`)

// fits scores from 0 to 1 how well what a column holds fits a column of a
// table; 0 says that it cannot be.
func fits(p *profile, t *contract.Table, column string) float64 {
	if p.filled == 0 {
		return 0.3
	}
	c := t.Column(column)
	timed := p.share(p.timed())
	switch {
	case c.Kind == contract.Instant, c.Kind == contract.Date:
		switch {
		case timed >= 0.8:
			return 0.7
		case p.share(p.digitTimes()) >= 0.95:
			return 0.4
		}
		return 0
	case column == "month":
		n := int64(0)
		for text, count := range p.texts {
			if monthCell.MatchString(text) {
				n += count
			}
		}
		return max(0.9*p.share(n), 0.5*timed)
	case timed >= 0.5:
		return 0
	case c.Kind == contract.Real, c.Kind == contract.Decimal, column == "value_raw":
		// A result may be a word; an instrument's own number has many digits.
		if p.share(p.numbers) >= 0.6 && p.standard == 0 {
			return 0.7
		}
		return 0
	case column == "unit_no":
		switch {
		case p.share(p.standard) >= 0.8:
			return 1
		case p.commas+p.points > p.filled/2 || p.unitTexts() >= 0.5:
			return 0
		case p.varied():
			return 0.5
		}
		return 0.2
	case c.Identifies:
		switch {
		case p.share(p.standard) >= 0.5, p.unitTexts() >= 0.5, p.commas+p.points > p.filled/2:
			return 0
		case p.varied():
			return 0.6
		}
		return 0.3
	case column == "unit_raw":
		if n := p.unitTexts(); n >= 0.5 {
			return 1
		}
		return 0.1
	case coded(t, column):
		return fitsCodes(p, t, column)
	}
	if p.share(p.standard) >= 0.5 {
		return 0
	}
	return 0.5
}

// mostCodes is how many codes a list of codes has, at most.
const mostCodes = 300

func fitsCodes(p *profile, t *contract.Table, column string) float64 {
	n := p.distinct()
	c := t.Column(strings.TrimSuffix(column, "_raw"))
	switch {
	case p.share(p.standard) >= 0.2, p.commas+p.points > p.filled/2:
		return 0
	case n < 0, column != "test" && column != "product_code" && n > mostCodes:
		return 0.1
	case c.Kind == contract.Bool:
		if n > 4 {
			return 0
		}
		return 0.6
	}
	known := int64(0)
	// What one table counts the other never does: weights are no tests.
	if other := map[string]string{"labs.test": "measures.kind", "measures.kind": "labs.test"}[t.Name+"."+column]; other != "" {
		for text, count := range p.texts {
			if words.codes[other][plain(text)] != "" {
				known += count
			}
		}
		if p.share(known) >= 0.5 {
			return 0
		}
		known = 0
	}
	for text, count := range p.texts {
		if codeOf(t.Name, mapOf(column), text) != "" || column == "product_code" && productOf(text) != "" {
			known += count
		}
	}
	if column == "product_code" {
		return 0.6 - 0.2*p.share(known) // A description gives way to a code.
	}
	return 0.5 + 0.5*p.share(known)
}

// varied reports whether a column has about as many texts as numbers of persons
// or units have: more than codes.
func (p *profile) varied() bool {
	n := p.distinct()
	return n < 0 || n > mostCodes || int64(n)*20 > p.filled && n > 1
}

// meanings counts the words of the contract that texts of the column plainly say.
func (p *profile) meanings(table, column string) int {
	said := map[string]bool{}
	for text := range p.texts {
		word := codeOf(table, column, text)
		if table == "labs" && word == "" {
			word, _ = normalise.LOINC(text)
		}
		if word != "" {
			said[word] = true
		}
	}
	return len(said)
}

// productOf gives what a description of a product plainly says: component, or
// component.kind.
func productOf(text string) string { return words.codes["products"][plain(text)] }

// role is what one column of a file may be in one table.
type role struct {
	column int // of the file
	name   string
	score  float64
	header float64
}

// reading is a table's way to understand a file.
type reading struct {
	table *contract.Table
	// roles by the file's column; unused columns have none.
	roles map[int]role
	// others are candidates of columns that have no role, the best first.
	others map[int][]role
	// missing lists required groups of columns that no column of the file fills.
	missing [][]string
	score   float64
}

// roleOf gives the file's column that is name, or -1.
func (r *reading) roleOf(name string) int {
	if r == nil {
		return -1
	}
	for i, one := range r.roles {
		if one.name == name {
			return i
		}
	}
	return -1
}

// roleAt gives the role of the file's column i, where it has one.
func (r *reading) roleAt(i int) (role, bool) {
	if r == nil {
		return role{}, false
	}
	one, has := r.roles[i]
	return one, has
}

// understand scores every table, the best first. Tables of which nothing is
// found are left out.
func understand(columns []*profile, fileName string) []reading {
	headers := make([][]token, len(columns))
	for i, p := range columns {
		headers[i] = tokens(p.name)
	}
	named := tokens(fileName)
	var all []reading
	for _, t := range contract.Feeds() {
		r := understandAs(t, columns, headers)
		for _, word := range named {
			if slices.Contains(words.files[t.Name], word.text) {
				r.score += 0.3
				break
			}
		}
		if len(r.roles) > 0 && r.score > 0 {
			all = append(all, r)
		}
	}
	slices.SortStableFunc(all, func(a, b reading) int { return cmp.Compare(b.score, a.score) })
	return all
}

func understandAs(t *contract.Table, columns []*profile, headers [][]token) reading {
	r := reading{table: t, roles: map[int]role{}, others: map[int][]role{}}
	var candidates []role
	for i, p := range columns {
		if p.name == "" || means(headers[i], "identity") || means(headers[i], "name") && means(headers[i], "patient") {
			continue
		}
		for _, c := range t.Columns {
			if c.Derived || c.CurrentOnly || site.RawOf[c.Name] != "" {
				continue
			}
			if one := scored(p, headers[i], t, c.Name); one.score >= candidateScore {
				one.column = i
				candidates = append(candidates, one)
			}
		}
	}
	slices.SortStableFunc(candidates, func(a, b role) int { return cmp.Compare(b.score, a.score) })
	taken := map[string]bool{}
	for _, c := range candidates {
		if _, has := r.roles[c.column]; !has && !taken[c.name] && c.score >= likelyScore {
			r.roles[c.column] = c
			taken[c.name] = true
		}
	}
	for _, c := range candidates {
		if _, has := r.roles[c.column]; !has {
			r.others[c.column] = append(r.others[c.column], c)
		}
	}
	r.weigh(columns, taken)
	return r
}

func scored(p *profile, header []token, t *contract.Table, column string) role {
	h, f := named(header, p.name, t.Name, column), fits(p, t, column)
	one := role{name: column, header: h}
	switch {
	case f == 0:
	case h > 0:
		one.score = 0.6*h + 0.4*f
	case slices.Contains([]string{"test", "kind", "medicine", "measure"}, column) && p.meanings(t.Name, column) >= 2:
		one.score = 0.61 // Whatever it is called, it holds what the table is about.
	case f == 1: // A donation number, a unit, a list of tests: plain whatever it is called.
		one.score = 0.62
	default:
		one.score = 0.3 * f
	}
	return one
}

// weigh sums what speaks for the table and what against.
func (r *reading) weigh(columns []*profile, taken map[string]bool) {
	required := map[string]bool{}
	for _, group := range site.Required(r.table) {
		best := 0.0
		for i := range r.roles {
			if slices.Contains(group, r.roles[i].name) {
				best = max(best, r.roles[i].score)
				required[r.roles[i].name] = true
			}
		}
		if best == 0 {
			r.missing = append(r.missing, group)
			best = -1.5
		}
		r.score += best
	}
	optional := 0
	for _, one := range r.roles {
		if !required[one.name] {
			r.score += 0.5 * one.score
			optional++
		}
	}
	if r.table == contract.Patients && !taken["birth_date"] && !taken["sex"] && !taken["abo"] {
		r.score = 0
	}
	for i, p := range columns {
		if _, has := r.roles[i]; !has && p.filled > 0 {
			r.score -= 0.3
		}
	}
}
