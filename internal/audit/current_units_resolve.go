package audit

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"thawline/internal/engine"
	"thawline/internal/store"
)

// resolveUnits resolves the units of some parts, and writes the rows of those parts
// into files from which they are copied.
func (b *builder) resolveUnits(ctx context.Context, e *engine.Engine, targets []unitTarget, rows int64) error {
	before, err := b.countBefore(ctx, e, targets)
	if err != nil {
		return err
	}
	if err := b.sourceUnits(ctx, e, targets, b.readings); err != nil {
		return err
	}
	ranges, err := unitRanges(ctx, e, rows)
	if err != nil {
		return err
	}
	spans := make([]span, len(targets))
	scratches := map[string]*scratch{}
	defer func() {
		for _, s := range scratches {
			s.w.Abort()
		}
	}()
	for i, t := range targets {
		spans[i] = t.part().span
		*t.part() = before[i].goneFrom(t)
		for _, of := range unitTables {
			t.pieces[of.Name][t.place] = store.Piece{}
		}
	}
	for _, of := range unitTables {
		to, err := b.newScratch(of.Name, of.Table)
		if err != nil {
			return err
		}
		scratches[of.Name] = to
	}
	for _, condition := range ranges {
		if err := b.runUnits(ctx, e, condition, spans, func(i int64) *unitPart { return targets[i].part() }); err != nil {
			return err
		}
		for _, of := range unitTables {
			if err := b.writeUnitRows(ctx, e, of, condition, spans, targets, scratches[of.Name], len(ranges) > 1); err != nil {
				return err
			}
		}
	}
	for _, of := range unitTables {
		if len(ranges) > 1 {
			// One part, whose rows stand in the order of its ranges.
			piece, err := scratches[of.Name].cut()
			if err != nil {
				return err
			}
			targets[0].pieces[of.Name][targets[0].place] = piece
			targets[0].part().rows(of.Table).Groups = piece.Groups
		}
		if err := scratches[of.Name].w.CloseScratch(); err != nil {
			return err
		}
	}
	return nil
}

// runUnits resolves what the views range_issues and range_bedside hold under a
// condition, and adds to parts what did not stay and what there is to note.
func (b *builder) runUnits(ctx context.Context, e *engine.Engine, condition string, spans []span, part func(int64) *unitPart) error {
	for _, t := range unitTables {
		err := e.Exec(ctx, "source_"+t.Name, fmt.Sprintf("CREATE OR REPLACE VIEW %s AS SELECT * FROM %s WHERE %s",
			engine.Name("source_"+t.Name), engine.Name("range_"+t.Name), condition))
		if err != nil {
			return err
		}
	}
	if err := Run(ctx, e, b.groups[unitGroup], "issues"); err != nil {
		return err
	}
	for _, of := range unitTables {
		gone, err := b.gone(ctx, e, of.Table, partOf(of.instant, spans), "true")
		if err != nil {
			return err
		}
		for i, p := range gone {
			part(i).rows(of.Table).addGone(p)
		}
	}
	return countUnits(ctx, e, spans, part)
}

// countBefore counts, for parts that merge, what did not stay of the units touched
// and what there was to note of them in the layer as it stands.
func (b *builder) countBefore(ctx context.Context, e *engine.Engine, targets []unitTarget) ([]unitPart, error) {
	before := make([]unitPart, len(targets))
	if !targets[0].merging() {
		return before, nil
	}
	spans := make([]span, len(targets))
	for i, t := range targets {
		spans[i] = t.part().span
	}
	var old []store.Reading
	for _, r := range b.readings {
		if slices.Contains(b.old.Readings[r.Table], r.ID) {
			old = append(old, r)
		} else {
			old = append(old, store.Reading{})
		}
	}
	if err := b.sourceUnits(ctx, e, targets, old); err != nil {
		return nil, err
	}
	// In the step's schema it hides the table of the ends that hold now.
	err := e.Exec(ctx, "alias ends before", "CREATE OR REPLACE TABLE alias_ends AS SELECT alias, patient_id FROM aliases_before WHERE alias <> patient_id")
	if err == nil {
		err = b.runUnits(ctx, e, "true", spans, func(i int64) *unitPart { return &before[i] })
	}
	if err == nil {
		err = e.Exec(ctx, "alias ends before", "DROP TABLE alias_ends")
	}
	return before, err
}

// goneFrom is the part of a target without any row that stays: where it merges,
// without what p, the units touched, counted for in the layer as it stands.
func (p *unitPart) goneFrom(t unitTarget) unitPart {
	was := *t.part()
	now := unitPart{span: was.span, Readings: was.Readings}
	if !t.merging() {
		return now
	}
	less := func(a, b partRows) partRows {
		return partRows{Superseded: a.Superseded - b.Superseded, Cancelled: a.Cancelled - b.Cancelled, GivenWay: a.GivenWay - b.GivenWay}
	}
	now.Issues, now.Bedside = less(was.Issues, p.Issues), less(was.Bedside, p.Bedside)
	now.unitNotes = unitNotes{
		PatientChanges: was.PatientChanges - p.PatientChanges, DiscardedApart: was.DiscardedApart - p.DiscardedApart,
		BedsideWithoutIssue: was.BedsideWithoutIssue - p.BedsideWithoutIssue, BedsideSetEqual: was.BedsideSetEqual - p.BedsideSetEqual,
		BedsideEmptied: was.BedsideEmptied - p.BedsideEmptied,
	}
	return now
}

// writeUnitRows writes the rows of one table that belong to parts, those of units
// not touched as they stand where parts merge; open leaves the last part open for
// rows of a further range, whose condition is given.
func (b *builder) writeUnitRows(ctx context.Context, e *engine.Engine, of unitTable, condition string, spans []span, targets []unitTarget, to *scratch, open bool) error {
	part := partOf(of.instant, spans)
	query := fmt.Sprintf("SELECT *, %s AS part FROM %s", part, engine.Name(of.Name))
	var files, within []string
	for _, t := range targets {
		within = append(within, t.part().span.contains(of.instant))
		if kept, found := b.kept[of.fileOf(t.year)]; found && t.merging() && !slices.Contains(files, kept.Path) {
			files = append(files, kept.Path)
		}
	}
	if len(files) > 0 {
		query += fmt.Sprintf(" UNION ALL BY NAME SELECT *, %s AS part FROM %s WHERE (%s) AND %s AND unit_no NOT IN (SELECT unit_no FROM touched_units)",
			part, readParquet(files), strings.Join(within, " OR "), condition)
	}
	query = fmt.Sprintf("SELECT * FROM (%s) WHERE part IS NOT NULL ORDER BY part, %s", query, of.order)
	rowsOf := func(no int64) *partRows { return targets[no].part().rows(of.Table) }
	ended := func(no int64, piece store.Piece) {
		targets[no].pieces[of.Name][targets[no].place] = piece
		rowsOf(no).Groups = piece.Groups
	}
	if open {
		ended = nil
	}
	return to.write(e.Parts(ctx, "current "+of.Name, query), rowsOf, ended)
}

// sourceUnits makes views range_issues and range_bedside of all that some readings,
// each in its place among all, tell of the units of some parts.
func (b *builder) sourceUnits(ctx context.Context, e *engine.Engine, targets []unitTarget, readings []store.Reading) error {
	var in []string
	for _, t := range targets {
		in = append(in, fmt.Sprint(t.no))
	}
	for _, t := range unitTables {
		// Fewer files than all, and of each fewer rows: of the others the engine reads
		// no more cells than it must. A unit that is told again and again is in many
		// files.
		var some []string
		for i, r := range readings {
			var units unitRange
			for _, target := range targets {
				if of, found := target.readings[int64(i)]; found {
					if units.first == "" || of.first < units.first {
						units.first = of.first
					}
					units.last = max(units.last, of.last)
				}
			}
			if path := r.FilePath(t.Name); path != "" && units.last != "" {
				name := fmt.Sprintf("told_%d_%s", i, t.Name)
				if err := e.View(ctx, name, t.SourceColumns(), []string{path}, "reading_file"); err != nil {
					return err
				}
				some = append(some, fmt.Sprintf("SELECT * FROM %s WHERE unit_no BETWEEN %s AND %s", engine.Name(name), engine.Quote(units.first), engine.Quote(units.last)))
			}
		}
		if len(some) == 0 {
			if err := e.View(ctx, "none_"+t.Name, t.SourceColumns(), nil, "reading_file"); err != nil {
				return err
			}
			some = append(some, "SELECT * FROM "+engine.Name("none_"+t.Name))
		}
		err := e.Exec(ctx, "range_"+t.Name, fmt.Sprintf("CREATE OR REPLACE VIEW %s AS SELECT * FROM (%s) WHERE unit_no IN (SELECT unit_no FROM part_units WHERE part IN (%s))",
			engine.Name("range_"+t.Name), union(some), strings.Join(in, ", ")))
		if err != nil {
			return err
		}
	}
	return nil
}

// unitRanges parts the unit numbers in hand into ranges of about rangeRows
// issues, in order, each as a condition on unit_no. Where the cuts lie is of no
// consequence.
func unitRanges(ctx context.Context, e *engine.Engine, told int64) ([]string, error) {
	if told <= rangeRows {
		return []string{"true"}, nil
	}
	n := told/rangeRows + 1
	var shares []string
	for i := int64(1); i < n; i++ {
		shares = append(shares, fmt.Sprintf("%d.0 / %d", i, n))
	}
	_, rows, err := e.Rows(ctx, "ranges of unit numbers", fmt.Sprintf(`
SELECT DISTINCT unnest(quantile_disc(unit_no, [%s])) AS cut
FROM range_issues
WHERE hash(unit_no) %% 16 = 0
ORDER BY cut`, strings.Join(shares, ", ")))
	if err != nil {
		return nil, err
	}
	var ranges []string
	from := ""
	for _, row := range rows {
		cut, found := row[0].(string)
		if !found {
			continue
		}
		ranges = append(ranges, from+"unit_no < "+engine.Quote(cut))
		from = "unit_no >= " + engine.Quote(cut) + " AND "
	}
	return append(ranges, from+"true"), nil
}

// countUnits adds what one range tells of changes and of bedside records in each part.
func countUnits(ctx context.Context, e *engine.Engine, spans []span, part func(int64) *unitPart) error {
	for _, count := range []struct {
		sum, from, at string
		into          func(*unitNotes) *int64
	}{
		{"count(*)", "patient_changes", "earliest_at", func(n *unitNotes) *int64 { return &n.PatientChanges }},
		{"count(*)", "discarded_apart", "issued_at", func(n *unitNotes) *int64 { return &n.DiscardedApart }},
		{"count(*) FILTER (WHERE NOT joined)", "bedside", "started_at", func(n *unitNotes) *int64 { return &n.BedsideWithoutIssue }},
		{"CAST(coalesce(sum(set_equal), 0) AS BIGINT)", "bedside_joined", "issued_at", func(n *unitNotes) *int64 { return &n.BedsideSetEqual }},
		{"CAST(coalesce(sum(emptied), 0) AS BIGINT)", "bedside_joined", "issued_at", func(n *unitNotes) *int64 { return &n.BedsideEmptied }},
	} {
		_, rows, err := e.Rows(ctx, "counts of current", fmt.Sprintf("SELECT %s AS part, %s FROM %s GROUP BY ALL", partOf(count.at, spans), count.sum, count.from))
		if err != nil {
			return err
		}
		for _, row := range rows {
			if no, found := row[0].(int64); found {
				*count.into(&part(no).unitNotes) += row[1].(int64)
			}
		}
	}
	return nil
}
