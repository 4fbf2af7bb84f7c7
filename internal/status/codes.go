package status

import (
	"fmt"
	"sort"
	"strings"
	"unicode"

	"thawline/internal/store"
)

// codeSteps says what to do about codes of a column that are in no map, where
// that differs from the column's own map in the feed.
var codeSteps = map[string]struct{ setAside, unmapped string }{
	"product_code": {setAside: "add it under products: in site.yaml, or plasma may be missing; then run thawline ingest"},
	"fate":         {unmapped: "map it under fate: in the feed; until then these fates are unknown"},
	"status":       {unmapped: "map it under status: in the feed; until then these results rank as preliminary: a correction among them loses to a final result"},
	"no_value":     {unmapped: "map it under no_value: in the feed (unclottable, clotted, haemolysed, insufficient, pending, cancelled, other); until then nothing says why these results hold no number"},
	"detail":       {unmapped: "map it under detail: in the feed; until then the detail is not known"},
}

func setAsideStep(column string) string {
	if s := codeSteps[column].setAside; s != "" {
		return s
	}
	return fmt.Sprintf("map it under %s: in the feed if a mark needs it, or name it under ignore: (ignore: rest for all others); then run thawline ingest", column)
}

func unmappedStep(column string) string {
	if s := codeSteps[column].unmapped; s != "" {
		return s
	}
	return fmt.Sprintf("map it under %s: in the feed; until then these cells are empty", column)
}

// code is one code without a map.
type code struct {
	kind
	word string
}

// told is what the readings tell of one code, or of the codes of one column.
type told struct {
	rows  int64
	files int
	first []string
	unit  string
}

func (t *told) add(rows int64, file, unit string) {
	t.rows += rows
	t.files++
	if len(t.first) < shownPlaces {
		t.first = append(t.first, file)
	}
	if t.unit == "" {
		t.unit = unit
	}
}

// codeProblems lists the codes that the maps did not know. A column whose codes
// look like numbers or names of persons is one line, without them.
func codeProblems(readings []store.Reading) []Problem {
	codes, columns := map[code]*told{}, map[kind]*told{}
	note := func(r *store.Reading, severity, text string, rows int64, unit string, inFile map[kind]bool) {
		column, word, _ := strings.Cut(text, "=")
		k := kind{table: r.Table, severity: severity, column: column}
		c := code{k, word}
		if codes[c] == nil {
			codes[c] = &told{}
		}
		codes[c].add(rows, r.File, unit)
		if columns[k] == nil {
			columns[k] = &told{}
		}
		columns[k].rows += rows
		if !inFile[k] {
			inFile[k] = true
			columns[k].add(0, r.File, "")
		}
	}
	for i := range readings {
		r := &readings[i]
		inFile := map[kind]bool{}
		for text, c := range r.SetAsideCodes {
			note(r, SetAside, text, c.Count, c.ExampleUnit, inFile)
		}
		for text, n := range r.Unmapped {
			note(r, Unmapped, text, n, "", inFile)
		}
	}
	looks := map[kind]*look{}
	for c, t := range codes {
		if looks[c.kind] == nil {
			looks[c.kind] = &look{}
		}
		looks[c.kind].add(c.word, t.rows)
	}
	var all []Problem
	hidden := map[kind]*told{}
	add := func(k kind, t *told, reason, next string) {
		all = append(all, Problem{Severity: k.severity, Table: k.table, Column: k.column, Reason: reason, Rows: t.rows, Files: t.files, First: t.first, Next: next})
	}
	step := map[string]func(string) string{SetAside: setAsideStep, Unmapped: unmappedStep}
	for c, t := range codes {
		if !looks[c.kind].codes() {
			continue
		}
		text, ok := ShownCode(c.word, t.rows)
		if !ok {
			if hidden[c.kind] == nil {
				hidden[c.kind] = &told{}
			}
			hidden[c.kind].rows += t.rows
			continue
		}
		reason := fmt.Sprintf("code %q is in no map", text)
		if t.unit != "" {
			if unit, ok := ShownCode(t.unit, t.rows); ok {
				reason += fmt.Sprintf(" (in %s)", unit)
			}
		}
		add(c.kind, t, reason, step[c.severity](c.column))
	}
	for k, t := range columns {
		switch {
		case !looks[k].codes():
			add(k, t, fmt.Sprintf("%d different texts in no map: they look like numbers or names of persons, not like codes, and are not shown", looks[k].distinct),
				fmt.Sprintf("check that columns: in the feed names the right header for %s", k.column))
		case hidden[k] != nil:
			add(k, &told{rows: hidden[k].rows, files: t.files, first: t.first}, "texts in no map that are rare and may name a person: they are not shown",
				fmt.Sprintf("where %s is free text in the source, ask for its code; else look at the column in the export", k.column))
		}
	}
	sort.Slice(all, func(i, j int) bool { return all[i].Reason < all[j].Reason })
	return all
}

// look is what the texts of one column look like, taken together.
type look struct {
	distinct, once, personal int
	rows                     int64
}

func (l *look) add(text string, rows int64) {
	l.distinct++
	l.rows += rows
	if rows == 1 {
		l.once++
	}
	if mayNamePerson(text) {
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

// mayNamePerson says that a text has the form of a number of a person (five
// digits together), or of free text (four words).
func mayNamePerson(text string) bool {
	digits, longest := 0, 0
	for _, r := range text {
		if unicode.IsDigit(r) {
			digits++
			longest = max(longest, digits)
		} else {
			digits = 0
		}
	}
	return longest >= 5 || len(strings.Fields(text)) >= 4
}

// longestCode is the longest text that is shown whole; a text that may name a
// person is shown only where it has commonRows.
const (
	longestCode = 40
	commonRows  = 5
)

// ShownCode gives a code as it may be shown: cut to a length that fits a line,
// without control characters. ok is false for a rare text that may name a
// person: a wrongly mapped column may hold anything.
func ShownCode(text string, rows int64) (shown string, ok bool) {
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
	return string(kept), rows >= commonRows || !mayNamePerson(text)
}
