package status

import (
	"fmt"
	"sort"

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

// nowMapped is the next step for a code that the maps know by now.
const nowMapped = "it is in the map now: run thawline ingest; an export that this does not read anew is no longer in its place: put it back there, or withdraw it"

// codesOfRows are columns whose code decides whether a row is set aside. Others
// name what stands in a file of messages or resources and holds no row.
var codesOfRows = map[string]bool{"product_code": true, "test": true, "kind": true, "medicine": true, "measure": true}

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
	rows int64
	// shared says that the code stands in the rows of several patients.
	shared bool
	// byMap says that a reading by a map of the site as it is now holds it.
	byMap bool
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

// codeProblems lists the codes of readings that the maps did not know. A column
// whose codes look like numbers or names of persons is one line, without them.
func codeProblems(guard *Guard, readings []store.Reading) []Problem {
	codes, columns := map[code]*told{}, map[kind]*told{}
	inFile := map[kind]string{}
	eachCode(readings, func(r *store.Reading, c code, rows int64, unit string) {
		if codes[c] == nil {
			codes[c] = &told{}
		}
		codes[c].add(rows, r.File, unit)
		if columns[c.kind] == nil {
			columns[c.kind] = &told{}
		}
		columns[c.kind].rows += rows
		if inFile[c.kind] != r.ID+r.File {
			inFile[c.kind] = r.ID + r.File
			columns[c.kind].add(0, r.File, "")
		}
	})
	var all []Problem
	hidden := map[kind]*told{}
	add := func(k kind, t *told, reason, next string) {
		all = append(all, Problem{Severity: k.severity, Table: k.table, Column: k.column, Reason: reason, Rows: t.rows, Files: t.files, First: t.first, Next: next})
	}
	step := map[string]func(string) string{SetAside: setAsideStep, Unmapped: unmappedStep}
	for c, t := range codes {
		if guard.hides(c.kind) {
			continue
		}
		text, ok := guard.Shown(c.table, c.severity, c.column, c.word)
		if !ok {
			if hidden[c.kind] == nil {
				hidden[c.kind] = &told{}
			}
			hidden[c.kind].rows += t.rows
			continue
		}
		reason, next := fmt.Sprintf("code %q is in no map", text), step[c.severity](c.column)
		if c.severity == SetAside && !codesOfRows[c.column] {
			reason = fmt.Sprintf("%q holds no row of %s", text, c.table)
			next = fmt.Sprintf("nothing is amiss where another feed reads it, or none needs to; ignore: %q in this feed (or ignore: rest) passes over it without a word", []string{c.column + "=" + text})
		}
		if guard.MappedSince(c.table, c.severity, c.column, c.word) {
			next = nowMapped
		}
		if unit := ShownUnit(t.unit); unit != "" {
			reason += fmt.Sprintf(" (in %s)", unit)
		}
		add(c.kind, t, reason, next)
	}
	for k, t := range columns {
		switch {
		case guard.hides(k):
			add(k, t, fmt.Sprintf("%d different texts in no map: they look like numbers or names of persons, not like codes, and are not shown", guard.looks[k].distinct),
				fmt.Sprintf("check that columns: in the feed names the right header for %s", k.column))
		case hidden[k] != nil:
			add(k, &told{rows: hidden[k].rows, files: t.files, first: t.first}, "texts in no map that are rare and may name a person: they are not shown",
				fmt.Sprintf("where %s is free text in the source, ask for its code; else look at the column in the export", k.column))
		}
	}
	sort.Slice(all, func(i, j int) bool { return all[i].Reason < all[j].Reason })
	return all
}
