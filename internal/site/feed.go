package site

import (
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"

	"thawline/internal/contract"
)

// feedKeys are the keys of a feed beside its code maps.
var feedKeys = []string{"table", "files", "file_date", "time_format", "delimiter", "encoding", "sheet", "decimal", "header_row", "columns", "ignore", "units", "patient_id_type", "patient_id_authority", "fields"}

// Encodings are the names that encoding: may bear.
var Encodings = []string{"utf-8", "utf-16", "utf-16le", "utf-16be", "windows-1252"}

func (l *loader) feeds(top map[string]entry) {
	e, stated := top["feeds"]
	if !stated {
		return
	}
	list, ok := l.plain(e.value).(*ast.SequenceNode)
	if !ok {
		l.fault(e.place(), "feeds: found %s, wanted a list of {table: ..., files: ...}", l.found(e.value))
		return
	}
	tables := map[string]bool{}
	for _, node := range list.Values {
		if f := l.feed(entry{"feeds", e.at, node}); f != nil {
			l.site.Feeds = append(l.site.Feeds, *f)
			tables[f.Table.Name] = true
		}
	}
	// The audit cannot begin without these two; said only where every feed was
	// understood, since the missing one may be the one with a fault.
	if len(l.site.Feeds) == len(list.Values) {
		for _, name := range []string{"issues", "labs"} {
			if !tables[name] {
				l.fault(e.at, "feeds: found none with table: %s, wanted one: issues and labs are needed for every mark", name)
			}
		}
	}
}

// codeColumns lists the columns of a table that may have a code map.
func codeColumns(t *contract.Table) []string {
	var names []string
	for _, c := range t.Columns {
		coded := c.Codes != nil || c.Kind == contract.Bool || c.Name == "unit_raw"
		if coded && !c.Derived && !c.CurrentOnly {
			names = append(names, c.Name)
		}
	}
	return names
}

// fileColumns lists the columns of a table that a file may give.
func fileColumns(t *contract.Table) []string {
	var names []string
	for _, c := range t.Columns {
		if !c.Derived && !c.CurrentOnly {
			names = append(names, c.Name)
		}
	}
	return names
}

func (l *loader) feed(item entry) *Feed {
	all, ok := l.entries(item.value)
	if !ok {
		l.fault(item.place(), "feeds: found %s, wanted {table: ..., files: ...}", l.found(item.value))
		return nil
	}
	f := &Feed{Line: item.place().Line}
	fields := map[string]entry{}
	for _, e := range all {
		fields[e.key] = e
	}
	names := make([]string, 0, 9)
	for _, t := range contract.Feeds() {
		names = append(names, t.Name)
	}
	e, stated := fields["table"]
	if !stated {
		l.fault(item.place(), "feeds: found no table, wanted one of %s", strings.Join(names, ", "))
		return nil
	}
	name := l.word(e, "one of "+strings.Join(names, ", "))
	if name == "" {
		return nil
	}
	if !slices.Contains(names, name) {
		l.fault(e.place(), "table: %s", unknown(name, names))
		return nil
	}
	f.Table = contract.Find(name)
	coded := codeColumns(f.Table)
	known := append(slices.Clone(feedKeys), coded...)
	f.Codes = map[string]map[string]string{}
	for _, e := range all {
		switch {
		case slices.Contains(feedKeys, e.key):
		case slices.Contains(coded, e.key):
			l.codes(f, e)
		case e.key == "component" && f.Table == contract.Issues:
			l.fault(e.at, "component: a file does not give it, wanted it in products:, for each product code")
		default:
			l.fault(e.at, "unknown key of a feed of %s: %s", name, unknown(e.key, known))
		}
	}
	l.files(f, item, fields)
	l.layouts(f, fields)
	l.form(f, fields)
	l.columns(f, fields)
	l.messages(f, fields)
	l.units(f, fields)
	l.ignore(f, fields)
	return f
}

func (l *loader) files(f *Feed, item entry, fields map[string]entry) {
	if e, stated := fields["files"]; !stated {
		l.fault(item.place(), "feeds: %s: found no files, wanted a path such as inbox/%s_*.csv", f.Table.Name, f.Table.Name)
	} else if glob := l.word(e, "a path such as inbox/bank_*.csv"); glob != "" {
		if _, err := filepath.Match(glob, ""); err != nil {
			l.fault(e.place(), "files: found %q, wanted a path in which [ ] pair up", glob)
		}
		f.Files = l.path(glob)
	}
	e, stated := fields["file_date"]
	if !stated {
		return
	}
	pattern := l.word(e, `a regular expression such as bank_(\d{4}-\d{2}-\d{2})`)
	if pattern == "" {
		return
	}
	re, err := regexp.Compile(pattern)
	switch {
	case err != nil:
		l.fault(e.place(), "file_date: found a regular expression that cannot be read (%s), wanted one such as bank_(\\d{4}-\\d{2}-\\d{2})", strings.TrimPrefix(err.Error(), "error parsing regexp: "))
	case re.NumSubexp() != 1:
		l.fault(e.place(), "file_date: found %d groups, wanted one ( ) around the date, such as bank_(\\d{4}-\\d{2}-\\d{2})", re.NumSubexp())
	default:
		f.FileDate = re
	}
}

func (l *loader) form(f *Feed, fields map[string]entry) {
	if e, stated := fields["delimiter"]; stated {
		// A tab in quotes is itself a delimiter, which trimming would lose.
		text, _ := l.scalar(e.value)
		if node, ok := l.plain(e.value).(*ast.StringNode); ok && node.Value == "\t" {
			text = "\t"
		}
		switch text {
		case ",", ";", "|", "\t":
			f.Delimiter = text
		case "comma":
			f.Delimiter = ","
		case "semicolon":
			f.Delimiter = ";"
		case "pipe":
			f.Delimiter = "|"
		case "tab", `\t`:
			f.Delimiter = "\t"
		default:
			l.fault(e.place(), "delimiter: found %s, wanted comma, semicolon, tab or pipe", l.found(e.value))
		}
	}
	if e, stated := fields["encoding"]; stated {
		text := fold(l.word(e, "one of "+strings.Join(Encodings, ", ")))
		if text != "" && !slices.Contains(Encodings, text) {
			l.fault(e.place(), "encoding: %s", unknown(text, Encodings))
		}
		f.Encoding = text
	}
	if e, stated := fields["header_row"]; stated {
		text, _ := l.scalar(e.value)
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil || n < 1 || n > 1000 {
			l.fault(e.place(), "header_row: found %s, wanted the number of the row with the names of the columns, 1 to 1000", l.found(e.value))
		} else {
			f.HeaderRow = n
		}
	}
	if e, stated := fields["decimal"]; stated {
		switch word, _ := l.scalar(e.value); fold(word) {
		case "comma", "point":
			f.Decimal = fold(word)
		default:
			l.fault(e.place(), "decimal: found %s, wanted comma (1.250,5) or point (1,250.5): how the export writes its numbers", l.found(e.value))
		}
	}
	if e, stated := fields["sheet"]; stated {
		f.Sheet = l.word(e, "the name of a workbook's sheet, or its number from 1")
	}
}

func (l *loader) columns(f *Feed, fields map[string]entry) {
	e, stated := fields["columns"]
	if !stated {
		return
	}
	all, ok := l.entries(e.value)
	if !ok {
		l.fault(e.place(), "columns: found %s, wanted {column of the contract: header in the file}", l.found(e.value))
		return
	}
	known := fileColumns(f.Table)
	f.Columns = map[string]string{}
	headers := map[string]string{}
	faulty := false
	for _, pair := range all {
		if !slices.Contains(known, pair.key) {
			l.fault(pair.at, "columns: no such column of %s: %s", f.Table.Name, unknown(pair.key, known))
			faulty = true
			continue
		}
		header := l.word(pair, "the header of that column in the file")
		if header == "" {
			faulty = true
			continue
		}
		if other, twice := headers[fold(header)]; twice && RawOf[other] != pair.key && RawOf[pair.key] != other {
			l.fault(pair.place(), "columns: %s: found header %q, which is already %s, wanted one column for each", pair.key, header, other)
		}
		headers[fold(header)] = pair.key
		f.Columns[pair.key] = header
	}
	if faulty {
		return // The missing column may be the one misspelt.
	}
	for _, group := range Required(f.Table) {
		if !slices.ContainsFunc(group, func(c string) bool { return f.Columns[c] != "" }) {
			l.fault(e.at, "columns: found no header for %s, wanted one: a row of %s cannot be read without it", strings.Join(group, " or "), f.Table.Name)
		}
	}
}

// address is a field of an HL7 message.
var address = regexp.MustCompile(`^[A-Z][A-Z0-9]{2}-[1-9][0-9]{0,2}(\.[1-9][0-9]{0,2}){0,2}$`)

// messages takes the keys that files of HL7 and FHIR alone have a use for.
func (l *loader) messages(f *Feed, fields map[string]entry) {
	if e, stated := fields["patient_id_type"]; stated {
		f.PatientIDType = l.word(e, "the type of the patient's number, such as MR")
	}
	if e, stated := fields["patient_id_authority"]; stated {
		f.PatientIDAuthority = l.word(e, "who gives the patient's number: the authority in HL7, the system in FHIR")
	}
	e, stated := fields["fields"]
	if !stated {
		return
	}
	all, ok := l.entries(e.value)
	if !ok {
		l.fault(e.place(), "fields: found %s, wanted {column of the contract: field of the message}", l.found(e.value))
		return
	}
	f.Fields = map[string]string{}
	for _, pair := range all {
		if known := fileColumns(f.Table); !slices.Contains(known, pair.key) {
			l.fault(pair.at, "fields: no such column of %s: %s", f.Table.Name, unknown(pair.key, known))
			continue
		}
		field := strings.ToUpper(l.word(pair, "a field of a message such as OBR-7"))
		if field != "" && !address.MatchString(field) {
			l.fault(pair.place(), "fields: %s: found %q, wanted a field of a message such as OBR-7, PID-3.1 or ZBX-2", pair.key, field)
		}
		f.Fields[pair.key] = field
	}
}

// codes takes the code map of one column.
func (l *loader) codes(f *Feed, e entry) {
	all, ok := l.entries(e.value)
	if !ok {
		l.fault(e.place(), "%s: found %s, wanted {local code: word of the contract}", e.key, l.found(e.value))
		return
	}
	c := f.Table.Column(e.key)
	words := c.Codes
	if c.Kind == contract.Bool {
		words = []string{"true", "false"}
	}
	codes := map[string]string{}
	for _, pair := range all {
		found, stated := l.scalar(pair.value)
		if !stated || found == "" {
			l.fault(pair.place(), "%s: %s: found %s, wanted a word of the contract", e.key, pair.key, l.found(pair.value))
			continue
		}
		word := ""
		if c.Name == "unit_raw" {
			if word = found; !KnownUnit(found) {
				l.fault(pair.place(), "unit_raw: %s: found %q, wanted a unit such as mg/dL, g/L, s, 10*9/L, kg or cm", pair.key, found)
			}
		} else {
			if c.Kind == contract.Bool {
				found = cmpOr(map[string]string{"yes": "true", "1": "true", "no": "false", "0": "false"}[fold(found)], found)
			}
			for _, w := range words {
				if fold(w) == fold(found) {
					word = w
				}
			}
			if word == "" {
				l.fault(pair.place(), "%s: %s: %s", e.key, pair.key, unknown(found, words))
			}
		}
		if other, twice := codes[fold(pair.key)]; twice && other != word {
			l.fault(pair.at, "%s: %s: found twice with different words (codes are compared without case), wanted once", e.key, pair.key)
		}
		codes[fold(pair.key)] = word
	}
	f.Codes[e.key] = codes
}

func (l *loader) units(f *Feed, fields map[string]entry) {
	e, stated := fields["units"]
	if !stated {
		return
	}
	var analytes []string
	switch f.Table {
	case contract.Labs:
		analytes = contract.Tests
	case contract.Measures:
		analytes = contract.Measures.Column("kind").Codes
	default:
		l.fault(e.at, "units: found in a feed of %s, wanted in labs and measures alone", f.Table.Name)
		return
	}
	all, ok := l.entries(e.value)
	if !ok {
		l.fault(e.place(), "units: found %s, wanted {fibrinogen: g/L}", l.found(e.value))
		return
	}
	f.Units = map[string]string{}
	for _, pair := range all {
		if !slices.Contains(analytes, pair.key) {
			l.fault(pair.at, "units: %s", unknown(pair.key, analytes))
			continue
		}
		unit := l.word(pair, "one of "+strings.Join(UnitNames(pair.key), ", "))
		if unit == "" {
			continue
		}
		if mapped := f.Codes["unit_raw"][fold(unit)]; mapped != "" {
			unit = mapped
		}
		if _, known := UnitOf(pair.key, unit); !known {
			l.fault(pair.place(), "units: %s: found %q, wanted one of %s", pair.key, unit, strings.Join(UnitNames(pair.key), ", "))
		}
		f.Units[pair.key] = unit
	}
}

// setAside names the column by whose code a row of a table is set aside.
func setAside(t *contract.Table) string {
	switch t {
	case contract.Issues, contract.Bedside:
		return "product_code"
	case contract.Labs:
		return "test"
	case contract.Measures, contract.Events:
		return "kind"
	case contract.Medicines:
		return "medicine"
	case contract.Activity:
		return "measure"
	}
	return ""
}

func (l *loader) ignore(f *Feed, fields map[string]entry) {
	e, stated := fields["ignore"]
	if !stated {
		return
	}
	column := setAside(f.Table)
	if column == "" {
		l.fault(e.at, "ignore: found in a feed of %s, whose rows are never set aside, wanted none", f.Table.Name)
		return
	}
	if text, ok := l.scalar(e.value); ok && fold(text) == "rest" {
		f.IgnoreRest = true
		return
	}
	list, ok := l.items(e.value)
	if !ok {
		l.fault(e.place(), "ignore: found %s, wanted a list of local codes, or the word rest", l.found(e.value))
		return
	}
	f.Ignore = map[string]bool{}
	for _, node := range list {
		item := entry{"ignore", e.at, node}
		code := fold(l.word(item, "a local code"))
		_, mapped := f.Codes[column][code]
		if column == "product_code" {
			_, mapped = l.site.Products[code]
		}
		if mapped {
			l.fault(item.place(), "ignore: found %s, which a map of the same file gives a meaning, wanted one or the other", l.found(node))
		}
		f.Ignore[code] = true
	}
}

func (l *loader) layouts(f *Feed, fields map[string]entry) {
	e, stated := fields["time_format"]
	if !stated {
		return
	}
	list, ok := l.items(e.value)
	if !ok || len(list) == 0 {
		l.fault(e.place(), "time_format: found %s, wanted how the file writes 2 January 2006, 15:04:05, for example 02/01/2006 15:04", l.found(e.value))
		return
	}
	for _, node := range list {
		item := entry{"time_format", e.at, node}
		layout := l.word(item, "how the file writes 2 January 2006, 15:04:05, for example 02/01/2006 15:04")
		if layout == "" {
			continue
		}
		if reason := checkLayout(layout); reason != "" {
			l.fault(item.place(), "time_format: found %q, %s", layout, reason)
			continue
		}
		for _, other := range f.TimeFormats {
			if disagree(layout, other) {
				l.fault(item.place(), "time_format: found %q beside %q, which reads the same text as another day, wanted one of the two", layout, other)
			}
		}
		f.TimeFormats = append(f.TimeFormats, layout)
	}
}

// checkLayout says what is wrong with a layout, or nothing.
func checkLayout(layout string) string {
	const wanted = "wanted how the file writes 2 January 2006, 15:04:05, for example 02/01/2006 15:04 (day first) or 01/02/2006 15:04 (month first)"
	base := time.Date(2021, 3, 4, 5, 6, 7, 0, time.UTC)
	at := func(t time.Time) string { return t.Format(layout) }
	switch {
	case strings.Contains(layout, "MST"):
		return "wanted an offset (-07:00) or none: a zone's abbreviation is not unique"
	case at(base) == at(base.AddDate(1, 0, 0)), at(base) == at(base.AddDate(0, 1, 0)), at(base) == at(base.AddDate(0, 0, 1)):
		return wanted
	case at(base) == at(base.Add(12*time.Hour)) && at(base) != at(base.Add(time.Hour)):
		return "which has hours to 12 without PM, " + wanted
	case strings.HasPrefix(layout, "2006-02-01"):
		return "which is year, day, month in the dress of ISO 8601, wanted an export with 2006-01-02"
	}
	if read, err := time.Parse(layout, at(base)); err != nil || at(read) != at(base) {
		return wanted
	}
	return ""
}

// disagree reports whether two layouts read one text as two different times.
func disagree(a, b string) bool {
	for _, t := range []time.Time{time.Date(2021, 3, 4, 5, 6, 7, 0, time.UTC), time.Date(2010, 11, 12, 1, 2, 3, 0, time.UTC)} {
		for _, pair := range [][2]string{{a, b}, {b, a}} {
			text := t.Format(pair[0])
			one, err1 := time.Parse(pair[0], text)
			two, err2 := time.Parse(pair[1], text)
			if err1 == nil && err2 == nil && !one.Equal(two) {
				return true
			}
		}
	}
	return false
}
