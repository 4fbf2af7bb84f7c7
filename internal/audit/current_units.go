package audit

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/store"
)

// rangeRows is about how many rows of issues and bedside are resolved at once. All
// that decides on an issue bears the same unit number, so that a range of numbers
// stands alone.
const rangeRows = 125_000

// unitTable is one of the tables that are resolved together, by unit number.
type unitTable struct {
	*contract.Table
	// instant is what puts a row into a dekad, as SQL: an issue's own time, or of a
	// unit never issued the thaw's or the discard's. A row keeps it when it is
	// resolved, or takes that of another row of its unit.
	instant string
	// order is that of the rows in a part.
	order string
}

var unitTables = []unitTable{
	{contract.Issues, "coalesce(issued_at, thawed_at, discarded_at, TIMESTAMP '0000-01-01 00:00:00')", "unit_no, bag, issued_at NULLS FIRST"},
	{contract.Bedside, "started_at", "unit_no, product_code NULLS FIRST, bag_no NULLS FIRST, patient_id NULLS FIRST, started_at"},
}

// unitPart is one part of the files of issues and bedside of a year: the units
// that have a row in it. Their rows of other dekads decide with those.
type unitPart struct {
	span
	// Readings are those that hold a row of any of its units, in source order.
	Readings []string `json:"readings"`
	Issues   partRows `json:"issues"`
	Bedside  partRows `json:"bedside"`
	unitNotes
}

// unitNotes counts what resolving issues and bedside gives to note.
type unitNotes struct {
	PatientChanges      int64 `json:"patient_changes,omitempty"`
	DiscardedApart      int64 `json:"discarded_apart,omitempty"`
	BedsideWithoutIssue int64 `json:"bedside_without_issue,omitempty"`
	BedsideSetEqual     int64 `json:"bedside_set_equal,omitempty"`
	BedsideEmptied      int64 `json:"bedside_emptied,omitempty"`
}

// rows are those of one of the two tables.
func (p *unitPart) rows(t *contract.Table) *partRows {
	switch t {
	case contract.Issues:
		return &p.Issues
	case contract.Bedside:
		return &p.Bedside
	}
	return nil
}

// unitFiles are the files of one year that are being made.
type unitFiles struct {
	year  string
	parts []unitPart
	// pieces are those of each table's parts: of the file as it stands, or written anew.
	pieces map[string][]store.Piece
	stale  []bool
	// merges says of a stale part that readings have only come, so that the rows of
	// units which none of them touches stay as they stand.
	merges []bool
}

// unitTarget is a part to be made anew.
type unitTarget struct {
	*unitFiles
	place int
	// no is its number in the table part_units, rows how many the readings hold of
	// its units that are resolved.
	no, rows int64
	// readings are the places of the readings that hold them, each with the first
	// and the last of those that it holds.
	readings map[int64]unitRange
}

// unitRange is a stretch of unit numbers, both ends in it.
type unitRange struct{ first, last string }

func (t unitTarget) part() *unitPart { return &t.parts[t.place] }

func (t unitTarget) merging() bool { return t.merges[t.place] }

// fileOf is the name in the layer of a table's file of one year.
func (t unitTable) fileOf(year string) string { return t.Name + "/" + year }

// writeUnits makes the parts of issues and bedside anew that may have changed, and
// takes the others over.
func (b *builder) writeUnits(ctx context.Context, e *engine.Engine, dir string) error {
	tells := map[string]tellings{}
	byYear := map[string]map[dekad]int64{}
	for _, t := range unitTables {
		told, err := b.tellDekads(ctx, e, t.Name, t.instant)
		if err != nil {
			return err
		}
		tells[t.Name] = told
		for _, dekads := range told {
			for m, rows := range dekads {
				year := fmt.Sprintf("%04d", m.year())
				if byYear[year] == nil {
					byYear[year] = map[dekad]int64{}
				}
				byYear[year][m] += rows
			}
		}
	}
	touched, err := b.dekadsTouched(ctx, e)
	if err != nil {
		return err
	}
	var files []*unitFiles
	var stale []unitTarget
	for _, year := range slices.Sorted(maps.Keys(byYear)) {
		one := b.planUnits(year, byYear[year], touched)
		files = append(files, one)
		for i := range one.parts {
			if one.stale[i] {
				stale = append(stale, unitTarget{unitFiles: one, place: i, no: int64(len(stale)), readings: map[int64]unitRange{}})
			}
		}
	}
	if err := b.readingsOfParts(ctx, e, tells, stale); err != nil {
		return err
	}
	// Small parts are resolved together, as each run of the queries has its price; a
	// large one range by range of the unit numbers.
	// Parts that merge stand apart: a unit that is not touched may have rows in one
	// of them, and be resolved for another part.
	var merging, anew []unitTarget
	for _, t := range stale {
		if t.merging() {
			merging = append(merging, t)
		} else {
			anew = append(anew, t)
		}
	}
	for _, targets := range [][]unitTarget{merging, anew} {
		for len(targets) > 0 {
			n, rows := batch(targets, rangeRows, func(t unitTarget) int64 { return t.rows })
			if err := b.resolveUnits(ctx, e, targets[:n], rows); err != nil {
				return err
			}
			targets = targets[n:]
		}
	}
	for _, one := range files {
		for _, t := range unitTables {
			name := t.fileOf(one.year)
			if slices.Contains(one.stale, true) || len(one.parts) != len(b.old.Units[one.year]) {
				err = b.join(dir, t.Table, name, one.pieces[t.Name])
			} else {
				b.keep(name)
			}
			if err != nil {
				return err
			}
		}
		b.mutex.Lock()
		b.made.Units[one.year] = one.parts
		b.mutex.Unlock()
	}
	return nil
}

// dekadsTouched lists the dekads that hold a row of any unit of which a reading
// tells that was not there before, or whose patient's alias ends elsewhere now.
func (b *builder) dekadsTouched(ctx context.Context, e *engine.Engine) (map[dekad]bool, error) {
	if b.old.Made == "" {
		return nil, nil
	}
	var touched []string
	for _, t := range unitTables {
		var fresh []string
		for _, r := range b.readings {
			if path := r.FilePath(t.Name); path != "" && !slices.Contains(b.old.Readings[r.Table], r.ID) {
				fresh = append(fresh, path)
			}
		}
		if len(fresh) > 0 {
			touched = append(touched, "SELECT unit_no FROM "+readParquet(fresh))
		}
		if files := b.filesRenamed(t.Name); len(files) > 0 {
			touched = append(touched, "SELECT unit_no FROM "+readParquet(files)+" WHERE "+bears)
		}
	}
	if len(touched) == 0 {
		return nil, nil
	}
	if err := e.Exec(ctx, "units touched", "CREATE OR REPLACE TABLE touched_units AS SELECT DISTINCT unit_no FROM ("+union(touched)+")"); err != nil {
		return nil, err
	}
	units, err := numbersIn(ctx, e, "touched_units", "unit_no")
	if err != nil {
		return nil, err
	}
	dekads := map[dekad]bool{}
	for _, t := range unitTables {
		files := b.filesOfUnits(t, units)
		if len(files) == 0 {
			continue
		}
		_, rows, err := e.Rows(ctx, "dekads touched", fmt.Sprintf("SELECT DISTINCT CAST(%s AS DATE) AS day FROM %s WHERE unit_no IN (SELECT unit_no FROM touched_units)",
			t.instant, readParquet(files)))
		if err != nil {
			return nil, err
		}
		for _, row := range rows {
			dekads[dekadOf(row[0].(time.Time))] = true
		}
	}
	return dekads, nil
}

// filesOfUnits lists the files of a table that may tell of some units; of all
// units where units is nil.
func (b *builder) filesOfUnits(t unitTable, units *store.Numbers) []string {
	var files []string
	for _, r := range b.readings {
		path := r.FilePath(t.Name)
		if path == "" {
			continue
		}
		tells := units == nil
		if !tells {
			_, tells = r.Tells(nil, units)
		}
		if tells {
			files = append(files, path)
		}
	}
	return files
}

// planUnits parts the files of a year, and finds which parts stand as they are.
func (b *builder) planUnits(year string, told map[dekad]int64, touched map[dekad]bool) *unitFiles {
	one := &unitFiles{year: year, pieces: map[string][]store.Piece{}}
	stands, places := map[span]unitPart{}, map[string]map[span]int{}
	for _, t := range unitTables {
		places[t.Name] = map[span]int{}
		place := 0
		for _, p := range b.old.Units[year] {
			stands[p.span], places[t.Name][p.span] = p, place
			place += p.rows(t.Table).Groups
		}
	}
	for _, s := range spansOf(told) {
		p, known := stands[s]
		merges := known && stillInOrder(p.Readings, b.places)
		stale := !merges
		for m := s.First; m <= s.Last; m++ {
			stale = stale || touched[m]
		}
		p.span = s
		for _, t := range unitTables {
			kept, found := b.kept[t.fileOf(year)]
			groups := p.rows(t.Table).Groups
			merges = merges && (found || groups == 0)
			stale = stale || !merges
			one.pieces[t.Name] = append(one.pieces[t.Name], store.Piece{Path: kept.Path, First: places[t.Name][s], Groups: groups})
		}
		one.parts = append(one.parts, p)
		one.merges = append(one.merges, merges)
		one.stale = append(one.stale, stale && !(known && overlooked(unitGroup+"/"+year)))
	}
	// What is copied gets a hash of its own, which would hide damage.
	if slices.Contains(one.stale, true) && (slices.Contains(one.stale, false) || slices.Contains(one.merges, true)) {
		for _, t := range unitTables {
			if kept, found := b.kept[t.fileOf(year)]; found && !whole(kept) {
				for i := range one.stale {
					one.stale[i], one.merges[i] = true, false
				}
			}
		}
	}
	return one
}

// readingsOfParts makes the table part_units of the units of the parts to be made
// anew, of those that merge the units touched alone, and notes for each part which
// readings tell of its units.
func (b *builder) readingsOfParts(ctx context.Context, e *engine.Engine, tells map[string]tellings, targets []unitTarget) error {
	if len(targets) == 0 {
		return nil
	}
	spans := make([]span, len(targets))
	resolved := "true"
	for i, t := range targets {
		spans[i] = t.part().span
		if t.merging() {
			resolved += fmt.Sprintf(" AND (part <> %d OR unit_no IN (SELECT unit_no FROM touched_units))", i)
		}
	}
	var units []string
	for _, t := range unitTables {
		var files []string
		for _, r := range b.readings {
			if path := r.FilePath(t.Name); path != "" && slices.ContainsFunc(spans, func(s span) bool { return tells[t.Name].tells(r.ID, s) }) {
				files = append(files, path)
			}
		}
		if len(files) > 0 {
			units = append(units, fmt.Sprintf("SELECT unit_no, %s AS part FROM %s", partOf(t.instant, spans), readParquet(files)))
		}
	}
	err := e.Exec(ctx, "units of parts", "CREATE OR REPLACE TABLE part_units AS SELECT DISTINCT unit_no, part FROM ("+union(units)+") WHERE part IS NOT NULL AND "+resolved)
	if err != nil {
		return err
	}
	// Where all is made anew, all readings tell of it.
	var wanted *store.Numbers
	if b.old.Made != "" {
		if wanted, err = numbersIn(ctx, e, "part_units", "unit_no"); err != nil {
			return err
		}
	}
	var told []string
	for _, t := range unitTables {
		name := "told_of_parts_" + t.Name
		if err := e.View(ctx, name, []contract.Column{{Name: "unit_no"}}, b.filesOfUnits(t, wanted), "reading_file"); err != nil {
			return err
		}
		told = append(told, "SELECT unit_no, reading_file FROM "+engine.Name(name))
	}
	_, rows, err := e.Rows(ctx, "readings of parts", `
SELECT part_units.part, readings.reading_order, count(*) AS told, min(told.unit_no), max(told.unit_no)
FROM (`+union(told)+`) AS told
JOIN part_units ON part_units.unit_no = told.unit_no
JOIN readings ON readings.reading_file = told.reading_file
GROUP BY ALL`)
	if err != nil {
		return err
	}
	for i := range targets {
		if !targets[i].merging() {
			targets[i].part().Readings = []string{}
		}
	}
	for _, row := range rows {
		t, order := &targets[row[0].(int64)], row[1].(int64)
		if p := t.part(); !slices.Contains(p.Readings, b.readings[order].ID) {
			p.Readings = append(p.Readings, b.readings[order].ID)
		}
		t.readings[order] = unitRange{row[3].(string), row[4].(string)}
		t.rows += row[2].(int64)
	}
	for i := range targets {
		slices.SortFunc(targets[i].part().Readings, func(one, other string) int { return b.places[one] - b.places[other] })
	}
	return nil
}
