package inspect

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/normalise"
	"thawline/internal/site"
)

// timeColumns lists the columns that hold times, or are taken for some.
func (g *group) timeColumns() []int {
	var all []int
	for i, p := range g.columns {
		timed := p.share(p.timed()) >= 0.8
		if g.best != nil {
			if one, has := g.best.roles[i]; has {
				kind := g.best.table.Column(one.name).Kind
				timed = kind == contract.Instant || kind == contract.Date || one.name == "month" && timed
			}
		}
		if timed {
			all = append(all, i)
		}
	}
	return all
}

// forms gathers the evidence of all columns of times, for time_format holds for
// a feed as a whole, and decides each family of forms.
func (g *group) forms() (proven []FeedForm, open []OpenForm) {
	joint := map[string]*evidence{}
	columns := map[string][]string{}
	var order []string
	for _, i := range g.timeColumns() {
		p := g.columns[i]
		for _, key := range sortedKeys(p.families) {
			e := p.families[key]
			// A few odd cells among many times are errors, not a form.
			if n := e.read(); n == 0 || p.share(n) < against {
				continue
			}
			if joint[key] == nil {
				joint[key] = &evidence{family: e.family}
				order = append(order, key)
			}
			joint[key].merge(e)
			columns[key] = append(columns[key], p.name)
		}
	}
	for _, key := range order {
		v := joint[key].decide()
		switch {
		case v.proven != nil:
			same := slices.IndexFunc(proven, func(f FeedForm) bool { return f.Layout == v.proven.Layout })
			if same < 0 {
				proven = append(proven, FeedForm{*v.proven, columns[key]})
				continue
			}
			proven[same].Columns = append(proven[same].Columns, columns[key]...)
		case v.open != nil:
			open = append(open, OpenForm{Forms: v.open, Columns: columns[key], Cells: v.cells})
		}
	}
	return proven, open
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// feed says what the group is.
func (g *group) feed() Feed {
	f := Feed{Files: g.files, Looks: g.look.String(), Encoding: g.options.Encoding, Delimiter: delimiterName(g.options.Delimiter), Sheet: g.options.Sheet, HeaderRow: g.options.HeaderRow, rows: g.rows, messages: g.table != nil}
	if g.best != nil {
		f.Table, f.Sure, f.Canonical = g.best.table.Name, g.sure(), g.canonical()
	} else {
		for _, one := range g.all[:min(3, len(g.all))] {
			f.Might = append(f.Might, one.table.Name)
		}
		if len(g.all) > 0 {
			for _, group := range g.all[0].missing {
				f.Lacks = append(f.Lacks, strings.Join(group, " or "))
			}
		}
	}
	f.TimeForms, f.OpenForms = g.forms()
	for i := range g.columns {
		f.Columns = append(f.Columns, g.column(i))
	}
	f.Units, f.NoValue = g.unitsWanted(), g.noValues()
	g.decimals(&f)
	g.fileDate(&f)
	f.Undecided = g.undecided(&f)
	return f
}

func delimiterName(d byte) string {
	switch d {
	case ',':
		return "comma"
	case ';':
		return "semicolon"
	case '|':
		return "pipe"
	case '\t':
		return "tab"
	}
	return ""
}

// canonical reports whether the header bears the contract's names, so that no
// map of columns is needed.
func (g *group) canonical() bool {
	for _, group := range site.Required(g.best.table) {
		if !slices.ContainsFunc(group, func(name string) bool {
			return slices.ContainsFunc(g.columns, func(p *profile) bool { return strings.EqualFold(p.name, name) })
		}) {
			return false
		}
	}
	for i, one := range g.best.roles {
		if n := plain(g.columns[i].name); n != one.name && n != mapOf(one.name) {
			return false
		}
	}
	return true
}

// column says what column i holds.
func (g *group) column(i int) Column {
	p := g.columns[i]
	c := Column{Name: p.name, Filled: p.filled, Distinct: p.distinct(), Holds: g.holds(i)}
	if g.best == nil {
		if len(g.all) > 0 {
			near := &g.all[0]
			if one, has := near.roles[i]; has {
				c.Might = append(c.Might, one.name)
			}
			for _, other := range near.others[i] {
				if near.roleOf(other.name) < 0 {
					c.Might = append(c.Might, other.name)
				}
			}
		}
		if g.seen.codes[i] != nil {
			c.Codes = g.loose(i)
		}
		return c
	}
	one, has := g.best.roles[i]
	if !has {
		for _, other := range g.best.others[i] {
			if g.best.roleOf(other.name) < 0 {
				c.Might = append(c.Might, other.name)
			}
		}
		if g.seen.codes[i] != nil {
			c.Codes = g.loose(i)
		}
		return c
	}
	c.Role, c.Sure = one.name, one.score >= sureScore
	if g.seen.codes[i] != nil {
		c.Codes, c.Hidden, c.HiddenRows = g.shown(i)
	} else if g.isCoded(i) && p.filled > 0 {
		c.Hidden, c.HiddenRows = -1, p.filled
	}
	return c
}

// holds says in words what a column holds, and shows none of it.
func (g *group) holds(i int) string {
	p := g.columns[i]
	switch {
	case p.filled == 0:
		return "nothing"
	case slices.Contains(g.timeColumns(), i):
		return g.holdsTimes(p)
	case p.share(p.standard) >= 0.8:
		if p.checked == 0 {
			return "donation numbers, without a check character"
		}
		return fmt.Sprintf("donation numbers; the check character is right in %d of %d", p.holds, p.checked)
	case g.best != nil && g.best.roles[i].name == "unit_raw", p.unitTexts() >= 0.8 && !g.isCoded(i):
		return "units"
	case means(tokens(p.name), "identity") || means(tokens(p.name), "name") && means(tokens(p.name), "patient"):
		return "names, addresses or the like, by its header; better left out of the export"
	case g.seen != nil && i == g.seen.describes:
		return "descriptions of the products"
	case g.isCoded(i):
	case p.share(p.numbers) >= 0.8 && (!p.varied() || g.isNumber(i)), p.commas+p.points > p.filled/2:
		says := "numbers"
		switch {
		case p.marks[normalise.CommaParts] > 0:
			says += ", decimal comma"
		case p.marks[normalise.CommaOpen] > 0:
			says += ", with commas that may part thousands or decimals"
		}
		if p.limits > 0 {
			says += ", some with < or >"
		}
		if p.words > 0 {
			says += ", some words in their place"
		}
		return says
	}
	how := fmt.Sprintf("%d different %s", p.distinct(), what(g.isCoded(i)))
	if p.distinct() < 0 {
		how = fmt.Sprintf("over %d different texts", mostTexts)
	} else if p.distinct() == 1 {
		how = "one text"
	}
	if s, share := p.commonShape(); share >= 0.5 {
		how += ", most of the form " + s
	}
	return how
}

func what(codes bool) string {
	if codes {
		return "codes"
	}
	return "texts"
}

// isNumber reports whether column i has a role that is a number.
func (g *group) isNumber(i int) bool {
	if g.best == nil {
		return false
	}
	one, has := g.best.roles[i]
	if !has {
		return false
	}
	kind := g.best.table.Column(one.name).Kind
	return kind == contract.Real || kind == contract.Decimal || one.name == "value_raw"
}

func (g *group) holdsTimes(p *profile) string {
	var forms []string
	if p.iso > 0 {
		switch {
		case p.isoTimed == 0:
			forms = append(forms, "ISO 8601 dates")
		case p.isoOffset > 0:
			forms = append(forms, "ISO 8601 with offset")
		default:
			forms = append(forms, "ISO 8601, wall-clock")
		}
	}
	proven, open := g.forms()
	for _, f := range proven {
		if slices.Contains(f.Columns, p.name) {
			forms = append(forms, f.Reads)
		}
	}
	for _, o := range open {
		if slices.Contains(o.Columns, p.name) {
			forms = append(forms, "their form is not decided")
		}
	}
	says := "times: " + strings.Join(forms, "; ")
	if lost := p.filled - p.timed() - p.digitTimes(); lost > 0 {
		says += fmt.Sprintf("; %d cells hold something else", lost)
	}
	return says
}

// fileDate proposes the pattern of the date in the names, unless the rows say
// that it is not the day on which the files were made.
func (g *group) fileDate(f *Feed) {
	var names []string
	dated := 0
	for _, file := range g.files {
		names = append(names, filepath.Base(file.Path))
		if file.Date != "" {
			dated++
		}
	}
	slices.Sort(names)
	monthWords, outOfOrder := monthsInWords(names)
	pattern := datePattern(names)
	switch {
	case pattern != "" && g.seen != nil && float64(g.seen.late) > against*float64(g.seen.dated):
		f.FileDateNote = fmt.Sprintf("%d of %d times are after the date in the name (first %s): it is not the day on which the file was made, and stating it would make them suspect", g.seen.late, g.seen.dated, g.seen.firstLate)
	case pattern != "":
		f.FileDate = pattern
	case dated > 0:
		f.FileDateNote = "only some names hold a date, or not in one place: later files could not be told from earlier ones"
	case len(monthWords) > 0:
		f.FileDateNote = fmt.Sprintf("the names tell the month in words (%s), which is not read as a date: later files are told from earlier ones by name, letter by letter", strings.Join(monthWords, ", "))
		if outOfOrder {
			f.FileDateNote += fmt.Sprintf(", so that %s stands before %s", monthWords[0], monthWords[len(monthWords)-1])
		}
		f.FileDateNote += "; save them under names with a date, such as labs_2026-10.csv, and state file_date"
	case len(names) > 1:
		f.FileDateNote = "no name holds a date (2026-03-31, 20260331 or 2026-03): later files are then told from earlier ones by name alone"
	}
}

// undecided says what a person must decide or look at, in sentences.
func (g *group) undecided(f *Feed) []string {
	var all []string
	say := func(format string, args ...any) { all = append(all, fmt.Sprintf(format, args...)) }
	if f.FileDate == "" && len(g.files) > 1 && f.FileDateNote != "" {
		say("file_date: %s; where two files tell of one row, the one that stands later wins", f.FileDateNote)
	}
	switch {
	case f.Table == "" && len(f.Might) > 0:
		say("table: taken for none, since no column was found for %s; nearest is %s", strings.Join(f.Lacks, ", "), strings.Join(f.Might, ", then "))
	case f.Table == "":
		say("table: nothing in the header or the cells says what these files are")
	case !f.Sure:
		say("table: taken for %s, but it might be another: check", f.Table)
	}
	if tests := g.testColumns(); f.Table != "labs" && len(tests) >= 2 {
		say("the columns %s seem to hold one test each: Thawline wants a row a result (patient, test, result, unit, time): ask for that export", strings.Join(tests, ", "))
	}
	if f.Encoding != "" {
		say("encoding: %s is the only known one by which these files can be read, which proves nothing: look whether letters with accents come out right", f.Encoding)
	}
	if f.HeaderRow > 0 {
		say("header_row: the names of the columns are taken from row %d, since what stands above it looks like a title: check", f.HeaderRow)
	}
	if f.Delimiter != "" {
		say("delimiter: %s, since only so every row has as many cells as the header", f.Delimiter)
	}
	if g.wide > 0 {
		say("%d rows have another number of cells than the header (first %s): they would be rejected; a delimiter or a quote inside a cell does that", g.wide, g.firstWide)
	}
	if g.repeated > 0 {
		say("the header stands again among the rows, %d times: such rows would be rejected or set aside", g.repeated)
	}
	if f.decimalOpen != "" {
		say("decimal: %s", f.decimalOpen)
	}
	for _, o := range f.OpenForms {
		say("time_format: no value of %s in %d shows which of %s it is", strings.Join(o.Columns, ", "), o.Cells, speakForms(o.Forms))
	}
	names := map[string]int{}
	for i, p := range g.columns {
		g.odd(i, say)
		if names[plain(p.name)]++; names[plain(p.name)] == 2 && p.name != "" {
			say("columns: two columns are called %s: neither can be named until the export calls them differently", p.name)
		}
	}
	for _, c := range f.Columns {
		switch {
		case c.Hidden < 0:
			say("%s: too many different texts for a list of codes; is it %s?", c.Name, c.Role)
		case c.Hidden > 0 && c.Role != "unit_raw":
			say("%s: %d more codes, in %d rows, are not shown, since they are rare or may name a person: look at them in the export; --codes %s shows the common ones", c.Name, c.Hidden, c.HiddenRows, shellWord(c.Name))
		}
	}
	return all
}

func speakForms(forms []TimeForm) string {
	var all []string
	for _, f := range forms {
		all = append(all, f.Reads)
	}
	return strings.Join(all, " or ")
}

// odd tells of a column what normalising would trip over.
func (g *group) odd(i int, say func(string, ...any)) {
	p := g.columns[i]
	header := tokens(p.name)
	for k, e := range epochs {
		if means(header, "time", "born") && p.share(p.epoch[k]) >= 0.8 {
			say("%s: it seems to hold %s, which cannot be stated as a time_format: export it as 2026-03-31T14:05", p.name, e.says)
		}
	}
	for _, key := range sortedKeys(p.families) {
		e := p.families[key]
		if n := e.count[0]; !e.family.digits && e.read() == 0 && p.share(n) >= 0.5 {
			say("%s: its cells look like times, but no form reads them (first %s): names of months must be English; export it as 2026-03-31T14:05", p.name, e.first[0])
		}
	}
	if slices.Contains(g.timeColumns(), i) {
		for _, e := range p.families {
			if v := e.decide(); v.noLateHour {
				say("%s: no hour over 12 in %d times: morning and afternoon may have been lost in the export", p.name, e.timed)
			}
		}
	}
}

// testColumns names columns of numbers whose header is a test.
func (g *group) testColumns() []string {
	var all []string
	for _, p := range g.columns {
		if p.share(p.numbers+p.words) >= 0.6 && p.filled > 0 && codeOf("labs", "test", p.name) != "" {
			all = append(all, p.name)
		}
	}
	return all
}

// headlessGroup says that the first line of the group's files is a row.
func (g *group) headlessGroup() bool {
	return slices.ContainsFunc(g.columns, func(p *profile) bool {
		return p.sameAsName >= 2 && p.sameAsName*50 >= p.filled
	})
}

// shellWord writes a header as a shell takes it.
func shellWord(name string) string {
	if strings.ContainsFunc(name, func(r rune) bool { return !isLetter(r) && (r < '0' || r > '9') && r != '_' && r != '-' }) {
		return "'" + strings.ReplaceAll(name, "'", `'\''`) + "'"
	}
	return name
}
