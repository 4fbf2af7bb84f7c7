package inspect

import (
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/site"
)

// Site is what a person may state beforehand of the proposed site.yaml; what is
// empty is left for them to fill in.
type Site struct{ Hospital, Zone string }

// Proposal writes the site.yaml that the findings suggest, for a person to edit.
// What is certain is stated; what is likely bears the word check; what only a
// person can decide is a comment.
func (f *Findings) Proposal(s Site) string {
	w := &writer{}
	w.line("# Proposed by thawline inspect. Read every line before you trust it: \"check\" marks")
	w.line("# what was found by its name or its content alone. A line that begins with # waits")
	w.line("# for you: put the word in place of the ? and free it (take its # away), or delete it.")
	w.line("# Paths are taken from the folder of this file.")
	w.fill("hospital:", s.Hospital, "FILL IN: the name that heads the pack")
	w.fill("time_zone:", s.Zone, "FILL IN: the clock on your wall, an IANA name such as Europe/Dublin")
	w.line("store: store")
	w.line("feeds:")
	for i := range f.Feeds {
		if f.Feeds[i].Table != "" {
			w.feed(&f.Feeds[i])
		}
	}
	for i := range f.Feeds {
		if f.Feeds[i].Table == "" {
			w.unknownFeed(&f.Feeds[i])
		}
	}
	for _, t := range f.Missing {
		w.line("  # MISSING: no file was taken for %s, and every mark needs it.", t)
	}
	w.products(f.Products, f.ProductsHidden)
	w.meanNormal(f.Feeds)
	return w.String()
}

// writer writes YAML whose comments stand in a column.
type writer struct{ strings.Builder }

// noteAt is the column at which notes stand, where lines are short enough.
const noteAt = 44

func (w *writer) line(format string, args ...any) { fmt.Fprintf(w, format+"\n", args...) }

// noted writes a line with a note; an empty note is none.
func (w *writer) noted(line, note string) {
	if note == "" {
		w.line("%s", line)
		return
	}
	w.line("%-*s # %s", noteAt, line, note)
}

// fill writes a key with its value, or without one and with what to fill in.
func (w *writer) fill(key, value, wanted string) {
	if value == "" {
		w.noted(key, wanted)
		return
	}
	w.line("%s %s", key, scalar(value))
}

var plainScalar = regexp.MustCompile(`^[\pL_/][\pL0-9_./*()+-]*( [\pL0-9_./*()+-]+)*$`)

// reserved are words that YAML, in one version or another, takes for something
// else than text.
var reserved = []string{"true", "false", "yes", "no", "on", "off", "y", "n", "null"}

// scalar writes a text so that YAML reads it as it is.
func scalar(text string) string {
	if plainScalar.MatchString(text) && !slices.Contains(reserved, strings.ToLower(text)) {
		return text
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range text {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\t':
			b.WriteString(`\t`)
		case r < ' ' || r == 0x7f || r == 0x85 || r == 0x2028 || r == 0x2029 || r == 0xfeff:
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// comment keeps a text on its line.
func comment(text string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == 0x85 || r == 0x2028 || r == 0x2029 {
			return ' '
		}
		return r
	}, text)
}

func (w *writer) feed(f *Feed) {
	note := ""
	if !f.Sure {
		note = "check: it might be another table"
	}
	w.noted("  - table: "+f.Table, note)
	names := fmt.Sprintf("%d files, %d rows looked at", len(f.Files), f.rows)
	if len(f.Files) == 1 {
		names = fmt.Sprintf("%d rows looked at; a star for what changes lets next month's file in too", f.rows)
		if strings.Contains(f.Glob, "*") {
			names = fmt.Sprintf("%d rows looked at", f.rows)
		}
	}
	w.noted("    files: "+scalar(f.Glob), names)
	switch {
	case f.FileDate != "":
		note := "check: the day on which a file was made"
		if strings.HasSuffix(f.FileDate, `(\d{4}-\d{2})`) {
			note = "check: the month that a file is of; times are taken to the end of the day after it"
		}
		w.noted("    file_date: "+quotedPattern(f.FileDate), note)
	case f.FileDateNote != "":
		w.line("    # file_date: not stated. %s", comment(f.FileDateNote))
	}
	if f.Encoding != "" {
		w.noted("    encoding: "+f.Encoding, "check: look whether letters with accents come out right")
	}
	if f.Delimiter != "" {
		w.noted("    delimiter: "+f.Delimiter, "only so every row has as many cells as the header")
	}
	if f.HeaderRow > 0 {
		w.noted(fmt.Sprintf("    header_row: %d", f.HeaderRow), "check: what stands above it looks like a title")
	}
	if f.Sheet != "" {
		w.noted("    sheet: "+scalar(f.Sheet), "one of several: each that is an export has a feed")
	}
	w.writeDecimal(f)
	w.timeFormats(f)
	w.columns(f)
	t := contract.Find(f.Table)
	setAside := ""
	for _, name := range []string{"test", "kind", "medicine", "measure"} {
		if c := t.Column(name); c != nil {
			setAside = name
			break
		}
	}
	for i := range f.Columns {
		c := &f.Columns[i]
		if c.Role != "" && c.Role != "product_code" && coded(t, c.Role) {
			w.codes(t, c, mapOf(c.Role) == setAside)
		}
	}
	if f.NoValue != nil {
		w.codes(t, f.NoValue, false)
	}
	w.units(f)
	if setAside != "" {
		w.noted("    # ignore: rest", fmt.Sprintf("once the codes you need are mapped under %s: passes over the others without a word", setAside))
	}
}

// quotedPattern writes a regular expression: plain where YAML lets it stand.
func quotedPattern(pattern string) string {
	if regexp.MustCompile(`^[A-Za-z0-9_][A-Za-z0-9_.\\(){}+-]*$`).MatchString(pattern) {
		return pattern
	}
	return "'" + strings.ReplaceAll(pattern, "'", "''") + "'"
}

func (w *writer) timeFormats(f *Feed) {
	if len(f.OpenForms) == 0 {
		switch len(f.TimeForms) {
		case 0:
			return
		case 1:
			w.noted("    time_format: "+scalarTime(f.TimeForms[0].Layout), formNote(f.TimeForms[0]))
			return
		}
	}
	w.line("    time_format:")
	for _, form := range f.TimeForms {
		w.noted("      - "+scalarTime(form.Layout), formNote(form))
	}
	for _, open := range f.OpenForms {
		w.line("      # ONE OF THESE: no value of %s in %d shows which; ask the system's owner", comment(strings.Join(open.Columns, ", ")), open.Cells)
		for _, form := range open.Forms {
			w.noted("      # - "+scalarTime(form.Layout), form.Reads)
		}
	}
}

// scalarTime writes a layout: most stand plain, as people write them.
func scalarTime(layout string) string {
	if regexp.MustCompile(`^[0-9A-Z][0-9A-Za-z/.: -]*$`).MatchString(layout) && strings.ContainsAny(layout, "/.-") && !strings.Contains(layout, ": ") {
		return layout
	}
	return scalar(layout)
}

func formNote(f FeedForm) string {
	note := f.Reads
	if f.Proof != nil {
		note += fmt.Sprintf("; proven at %s, where %s", f.Proof, f.Why)
	} else {
		note += "; " + f.Why
	}
	if f.Against > 0 {
		note += fmt.Sprintf("; %d cells contradict it, first %s", f.Against, f.FirstAgainst)
	}
	return comment(note)
}

func (w *writer) columns(f *Feed) {
	t := contract.Find(f.Table)
	if f.Canonical && f.messages {
		w.line("    # columns: none needed, the format says what its fields are (README.md)")
		return
	}
	if f.Canonical {
		w.line("    # columns: none needed, the header bears the names of thawline describe %s", f.Table)
		return
	}
	w.line("    columns:")
	for _, c := range t.Columns {
		for i := range f.Columns {
			if f.Columns[i].Role != c.Name {
				continue
			}
			note := f.Columns[i].Holds
			if !f.Columns[i].Sure {
				note = "check: " + note
			}
			w.noted("      "+c.Name+": "+scalar(f.Columns[i].Name), comment(note))
		}
	}
	for _, c := range f.Columns {
		switch {
		case c.Role != "" || c.Name == "":
		case len(c.Might) > 0:
			w.noted("      # "+c.Might[0]+": "+scalar(c.Name), comment(mightNote(c)))
		default:
			w.noted("      # ?: "+scalar(c.Name), comment(c.Holds+"; not used"))
		}
		if c.Role == "" && len(c.Codes) > 0 {
			w.line("      #    holds %s", comment(codeList(c.Codes)))
		}
	}
}

func mightNote(c Column) string {
	if len(c.Might) > 1 {
		return "or " + strings.Join(c.Might[1:min(4, len(c.Might))], ", ") + "? " + c.Holds
	}
	return "is it? " + c.Holds
}

// codes writes the map of one column's codes. Words of the contract need no map.
func (w *writer) codes(t *contract.Table, c *Column, setsAside bool) {
	key := mapOf(c.Role)
	var words []string
	if column := t.Column(key); column != nil {
		words = column.Codes
		if column.Kind == contract.Bool {
			words = []string{"true", "false"}
		}
	}
	var certain, open []Code
	var itself []string
	for _, code := range c.Codes {
		switch {
		case code.Word == "":
			open = append(open, code)
		case !strings.EqualFold(code.Word, code.Code):
			certain = append(certain, code)
		case key != "unit_raw":
			strange := ""
			if strings.Contains(code.Note, "does not have") {
				strange = ", " + code.Note
			}
			itself = append(itself, comment(fmt.Sprintf("%s (%d rows%s)", code.Code, code.Rows, strange)))
		}
	}
	if len(itself) > 0 {
		w.line("    # %s: understood as they are: %s", key, strings.Join(itself, ", "))
	}
	if len(open) == 0 && len(certain) == 0 && (c.Hidden == 0 || key == "unit_raw") {
		return
	}
	if len(certain) > 0 {
		w.line("    %s:", key)
	} else {
		w.noted("    # "+key+":", "free this line too when you free one below it")
	}
	for _, code := range certain {
		w.noted(fmt.Sprintf("      %s: %s", scalar(code.Code), scalar(code.Word)), codeNote(code))
	}
	if len(open) > 0 && words != nil {
		w.line("      # words: %s", strings.Join(words, ", "))
	}
	if key == "status" && t == contract.Labs && (len(open) > 0 || c.Hidden != 0) {
		w.line("      # in no map a status ranks as preliminary: a corrected result that is not mapped loses to a final one")
	}
	for _, code := range open {
		w.noted(fmt.Sprintf("      # %s: ?", scalar(code.Code)), codeNote(code))
	}
	if c.Hidden != 0 && key != "unit_raw" {
		w.line("      # and codes that are not shown, since they are rare or may name a person: %d rows", c.HiddenRows)
	}
}

func codeNote(c Code) string {
	note := fmt.Sprintf("%d rows", c.Rows)
	if c.Note != "" {
		note += ", " + c.Note
	}
	return comment(note)
}

func (w *writer) units(f *Feed) {
	if len(f.Units) == 0 {
		return
	}
	w.noted("    # units:", "what the export means where it states no unit; without it these values are dropped")
	for _, u := range f.Units {
		w.noted(fmt.Sprintf("    #   %s: ?", u.Analyte), fmt.Sprintf("%d rows, half of them from %g to %g; one of %s", u.Rows, u.Low, u.High, strings.Join(site.UnitNames(u.Analyte), ", ")))
	}
}

// unknownFeed writes, as comments, a feed of which the table is not known.
func (w *writer) unknownFeed(f *Feed) {
	table := "?"
	if len(f.Might) > 0 {
		table = f.Might[0]
	}
	w.noted("  # - table: "+table, "NOT DECIDED which table this is, or whether it is one (thawline describe lists them)")
	w.line("  #   files: %s", comment(scalar(f.Glob)))
	if f.HeaderRow > 0 {
		w.line("  #   header_row: %d", f.HeaderRow)
	}
	for _, form := range f.TimeForms {
		w.noted("  #   time_format: "+scalarTime(form.Layout), formNote(form))
	}
	w.line("  #   columns:")
	for _, c := range f.Columns {
		if c.Name == "" && c.Filled == 0 {
			continue
		}
		might := "?"
		if len(c.Might) > 0 {
			might = c.Might[0]
		}
		w.noted("  #     "+might+": "+scalar(c.Name), comment(c.Holds))
		if len(c.Codes) > 0 {
			w.line("  #        holds %s", comment(codeList(c.Codes)))
		}
	}
}

// codeList names codes with their rows, as many as a person reads.
func codeList(codes []Code) string {
	const most = 30
	var all []string
	for _, c := range codes[:min(most, len(codes))] {
		all = append(all, fmt.Sprintf("%s (%d rows)", scalar(c.Code), c.Rows))
	}
	if more := len(codes) - most; more > 0 {
		all = append(all, fmt.Sprintf("and %d more", more))
	}
	return strings.Join(all, ", ")
}

func (w *writer) products(products []Code, hiddenRows int64) {
	if len(products) == 0 && hiddenRows == 0 {
		return
	}
	components := strings.Join(contract.Issues.Column("component").Codes, ", ")
	kinds := strings.Join(contract.Issues.Column("product").Codes, ", ")
	w.line("# Every product code needs an entry, or its units are set aside. component: %s;", components)
	w.line("# for plasma also product: %s,", kinds)
	w.line("# nominal_ml: of one bag, becomes: the code that thawing gives it (an entry too).")
	certain := false
	for _, p := range products {
		certain = certain || entryOf(p) != ""
	}
	if certain {
		w.line("products:")
	} else {
		w.noted("# products:", "free this line too when you free one below it")
	}
	thawed := slices.ContainsFunc(products, func(p Code) bool { return p.Word == "plasma.thawed" })
	for _, p := range products {
		if entry := entryOf(p); entry != "" {
			note := "check: " + codeNote(p)
			if thawed && p.Word == "plasma.fresh_frozen" {
				note += "; becomes: ? where thawing gives it another code"
			}
			w.noted(fmt.Sprintf("  %s: %s", scalar(p.Code), entry), note)
			continue
		}
		ml := "?"
		if p.ML > 0 {
			ml = fmt.Sprintf("%g", p.ML)
		}
		component, kind, _ := strings.Cut(p.Word, ".")
		open := fmt.Sprintf("{component: ?, nominal_ml: %s}", ml)
		if component == "plasma" {
			open = fmt.Sprintf("{component: plasma, product: %s, nominal_ml: %s}", strings.Trim(kind+"?", " "), ml)
			if kind == "?" {
				open = fmt.Sprintf("{component: plasma, product: ?, nominal_ml: %s}", ml)
			}
		}
		w.noted(fmt.Sprintf("  # %s: %s", scalar(p.Code), open), codeNote(p))
	}
	if hiddenRows > 0 {
		w.line("  # and codes that are not shown, since they are rare or may name a person: %d rows; inspect --site names them, once the others are here", hiddenRows)
	}
}

// entryOf writes the product that a description plainly says, or nothing. Plasma
// needs its kind and the volume of a bag, which a dose is reckoned by.
func entryOf(p Code) string {
	component, kind, _ := strings.Cut(p.Word, ".")
	switch {
	case component == "", component == "plasma" && (kind == "?" || kind == "" || p.ML == 0):
		return ""
	case component == "plasma":
		return fmt.Sprintf("{component: plasma, product: %s, nominal_ml: %g}", kind, p.ML)
	case p.ML > 0:
		return fmt.Sprintf("{component: %s, nominal_ml: %g}", component, p.ML)
	}
	return fmt.Sprintf("{component: %s}", component)
}

// meanNormal asks for the mean normal times of the clotting times that were found.
func (w *writer) meanNormal(feeds []Feed) {
	var wanted []string
	for _, test := range []string{"pt_s", "aptt_s"} {
		if slices.ContainsFunc(feeds, func(f Feed) bool { return f.hasTest(test) }) {
			wanted = append(wanted, test+": [{from: 2026-01-01, value: ?}]")
		}
	}
	if wanted != nil {
		w.noted("# mean_normal_s: {"+strings.Join(wanted, ", ")+"}", "the laboratory's mean normal time in s and the day from which it holds: without it these times give no ratio")
	}
}

// hasTest reports whether a local code of the feed plainly means a test.
func (f *Feed) hasTest(test string) bool {
	return slices.ContainsFunc(f.Columns, func(c Column) bool {
		return c.Role == "test" && slices.ContainsFunc(c.Codes, func(code Code) bool { return code.Word == test })
	})
}

// baseNames lists the base names of a feed's files, not more than a line holds.
func baseNames(f *Feed) string {
	var names []string
	for _, file := range f.Files {
		names = append(names, filepath.Base(file.Path))
	}
	if more := len(names) - 3; more > 0 {
		names = append(names[:3], fmt.Sprintf("and %d more", more))
	}
	return strings.Join(names, ", ")
}
