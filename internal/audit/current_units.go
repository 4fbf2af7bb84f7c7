package audit

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/store"
)

// rangeRows is about how many issues are resolved at once. All that decides on
// an issue bears the same unit number, so that a range of numbers stands alone.
const rangeRows = 250_000

// unitTables are the tables that are resolved together, by unit number, each
// with the year (UTC) of a row, as SQL: an issue's, or of a unit never issued
// the thaw's or the discard's. A row keeps its year when it is resolved.
var unitTables = []struct {
	*contract.Table
	year string
}{
	{contract.Issues, "coalesce(year(coalesce(issued_at, thawed_at, discarded_at)), 0)"},
	{contract.Bedside, "year(started_at)"},
}

// unitPart tells what one year's files of issues and bedside were made from,
// and what became of the rows.
type unitPart struct {
	// From is a hash over the queries, the readings that hold a row of any unit
	// of the year, and the aliases among those rows. A unit of the year has a row
	// in it; its rows of other years decide with those.
	From    string   `json:"from"`
	Issues  partRows `json:"issues"`
	Bedside partRows `json:"bedside"`
	unitNotes
}

// unitNotes counts what resolving issues and bedside gives to note.
type unitNotes struct {
	PatientChanges      int64 `json:"patient_changes"`
	DiscardedApart      int64 `json:"discarded_apart"`
	BedsideWithoutIssue int64 `json:"bedside_without_issue"`
	BedsideSetEqual     int64 `json:"bedside_set_equal"`
	BedsideEmptied      int64 `json:"bedside_emptied"`
}

func (p *unitPart) rows(t *contract.Table) *partRows {
	if t == contract.Bedside {
		return &p.Bedside
	}
	return &p.Issues
}

// unitYear is one year of issues and bedside.
type unitYear struct {
	year int64
	// readings are the places, in source order, of those that hold a row of any
	// of its units.
	readings map[int64]bool
	// rows is how many rows they hold of those units.
	rows int64
	from string
}

// yearName is the name in the layer of a table's file of one year.
func yearName(t *contract.Table, year int64) string { return fmt.Sprintf("%s/%04d", t.Name, year) }

// writeUnits resolves issues and bedside of the years that may have changed,
// writes their files, and keeps the others.
func (b *builder) writeUnits(ctx context.Context, at clock, dir string, lines map[*contract.Table]*CurrentTable) error {
	for _, t := range unitTables {
		if err := b.e.View(ctx, "all_"+t.Name, t.SourceColumns(), b.st.SourceFiles(t.Name), "reading_file"); err != nil {
			return err
		}
	}
	years, err := b.unitYears(ctx, at)
	if err != nil {
		return err
	}
	var stale []unitYear
	for _, y := range years {
		p := b.old.Units[fmt.Sprint(y.year)]
		whole := p.From == y.from
		for _, t := range unitTables {
			_, found := b.kept[yearName(t.Table, y.year)]
			whole = whole && (found || p.rows(t.Table).Current == 0)
		}
		if !whole {
			stale = append(stale, y)
			continue
		}
		b.made.Units[fmt.Sprint(y.year)] = p
		for _, t := range unitTables {
			b.keep(yearName(t.Table, y.year))
		}
	}
	// Small years are resolved together, as each run of the queries has its price.
	for len(stale) > 0 {
		n, rows := 0, int64(0)
		for n < len(stale) && (n == 0 || rows+stale[n].rows <= rangeRows) {
			rows += stale[n].rows
			n++
		}
		if err := b.writeUnitYears(ctx, dir, stale[:n], rows); err != nil {
			return err
		}
		stale = stale[n:]
	}
	for _, p := range b.made.Units {
		for _, t := range unitTables {
			if lines[t.Table] != nil {
				p.rows(t.Table).addTo(lines[t.Table])
			}
		}
		b.report.PatientChanges += p.PatientChanges
		b.report.DiscardedApart += p.DiscardedApart
		b.report.BedsideWithoutIssue += p.BedsideWithoutIssue
		b.report.BedsideSetEqual += p.BedsideSetEqual
		b.report.BedsideEmptied += p.BedsideEmptied
	}
	return nil
}

// unitYears lists the years of which readings hold rows of issues or bedside,
// each with all files that have a word in it.
func (b *builder) unitYears(ctx context.Context, at clock) ([]unitYear, error) {
	var told, borne []string
	for _, t := range unitTables {
		told = append(told, fmt.Sprintf("SELECT unit_no, %s AS year, reading_order FROM %s JOIN readings USING (reading_file)", t.year, engine.Name("all_"+t.Name)))
		borne = append(borne, "SELECT unit_no, patient_id FROM "+engine.Name("all_"+t.Name))
	}
	err := b.e.Exec(ctx, "units told", "CREATE OR REPLACE TABLE told_units AS "+strings.Join(told, " UNION ALL "))
	if err != nil {
		return nil, err
	}
	_, rows, err := b.e.Rows(ctx, "years of issues", `
SELECT
    units.year,
    told_units.reading_order,
    count(*) AS told
FROM (SELECT DISTINCT unit_no, year FROM told_units) AS units
JOIN told_units ON told_units.unit_no = units.unit_no
GROUP BY units.year, told_units.reading_order`)
	if err != nil {
		return nil, err
	}
	byYear := map[int64]*unitYear{}
	for _, row := range rows {
		year := row[0].(int64)
		if byYear[year] == nil {
			byYear[year] = &unitYear{year: year, readings: map[int64]bool{}}
		}
		byYear[year].readings[row[1].(int64)] = true
		byYear[year].rows += row[2].(int64)
	}
	_, rows, err = b.e.Rows(ctx, "aliases of issues", `
SELECT DISTINCT told_units.year, alias_ends.alias, alias_ends.patient_id
FROM (`+strings.Join(borne, " UNION ALL ")+`) AS borne
JOIN alias_ends ON alias_ends.alias = borne.patient_id
JOIN told_units ON told_units.unit_no = borne.unit_no
ORDER BY ALL`)
	if err != nil {
		return nil, err
	}
	aliases := aliasTexts(rows)
	var years []unitYear
	for year, y := range byYear {
		h := sha256.New()
		fmt.Fprintf(h, "%s\x00%s\x00%d\x00%s\x00", b.fingerprint, at.name, year, aliases[year])
		for i, r := range b.readings {
			if y.readings[int64(i)] {
				fmt.Fprintf(h, "%s\x00", r.ID)
			}
		}
		y.from = hex.EncodeToString(h.Sum(nil))
		years = append(years, *y)
	}
	slices.SortFunc(years, func(a, b unitYear) int { return int(a.year - b.year) })
	return years, nil
}

// writeUnitYears resolves the units of some years, range by range of their
// numbers where they are many, and writes the files of those years.
func (b *builder) writeUnitYears(ctx context.Context, dir string, years []unitYear, rows int64) error {
	if err := b.sourceUnits(ctx, years); err != nil {
		return err
	}
	ranges, err := b.unitRanges(ctx, rows)
	if err != nil {
		return err
	}
	parts, writers := make([]unitPart, len(years)), map[string]*store.Writer{}
	defer func() {
		for _, w := range writers {
			if w != nil {
				w.Abort()
			}
		}
	}()
	for i, condition := range ranges {
		for _, t := range unitTables {
			err := b.e.Exec(ctx, "source_"+t.Name, fmt.Sprintf("CREATE OR REPLACE VIEW %s AS SELECT * FROM %s WHERE %s",
				engine.Name("source_"+t.Name), engine.Name("part_"+t.Name), condition))
			if err != nil {
				return err
			}
		}
		if err := Run(ctx, b.e, b.units, "issues"); err != nil {
			return err
		}
		// Asked once a year: of a single year the view will do.
		if len(years) > 1 {
			if err := b.e.Exec(ctx, "issues of years", "CREATE OR REPLACE TABLE issues_of_years AS SELECT * FROM issues"); err != nil {
				return err
			}
		}
		for j, y := range years {
			for _, t := range unitTables {
				from, ofYear := t.Name, fmt.Sprintf("%s = %d", t.year, y.year)
				if t.Table == contract.Issues && len(years) > 1 {
					from = "issues_of_years"
				}
				if err := b.countPart(ctx, t.Table, ofYear, parts[j].rows(t.Table)); err != nil {
					return err
				}
				name := yearName(t.Table, y.year)
				if writers[name], err = b.addRows(ctx, writers[name], dir, name, t.Table, "SELECT * FROM "+engine.Name(from)+" WHERE "+ofYear); err != nil {
					return err
				}
				if i < len(ranges)-1 || writers[name] == nil {
					continue
				}
				f, err := b.finish(writers[name])
				if err != nil {
					return err
				}
				parts[j].rows(t.Table).Current = f.Rows
			}
			if err := b.countUnits(ctx, y.year, &parts[j].unitNotes); err != nil {
				return err
			}
		}
	}
	for j, y := range years {
		parts[j].From = y.from
		b.made.Units[fmt.Sprint(y.year)] = parts[j]
	}
	return nil
}

// sourceUnits makes tables part_issues and part_bedside of all that the
// readings tell of the units of some years.
func (b *builder) sourceUnits(ctx context.Context, years []unitYear) error {
	var in []string
	for _, y := range years {
		in = append(in, fmt.Sprint(y.year))
	}
	for _, t := range unitTables {
		var files []string
		for i, r := range b.readings {
			if path := r.FilePath(t.Name); path != "" && slices.ContainsFunc(years, func(y unitYear) bool { return y.readings[int64(i)] }) {
				files = append(files, path)
			}
		}
		from := "all_" + t.Name
		if len(files) > 0 {
			// Fewer files than all: the engine reads no cell of the others.
			from = "some_" + t.Name
			if err := b.e.View(ctx, from, t.SourceColumns(), files, "reading_file"); err != nil {
				return err
			}
		}
		err := b.e.Exec(ctx, "part_"+t.Name, fmt.Sprintf("CREATE OR REPLACE VIEW %s AS SELECT * FROM %s WHERE unit_no IN (SELECT unit_no FROM told_units WHERE year IN (%s))",
			engine.Name("part_"+t.Name), engine.Name(from), strings.Join(in, ", ")))
		if err != nil {
			return err
		}
	}
	return nil
}

// addRows writes the rows of a query into a file of the layer, which the first
// row begins: a year without a row left has none.
func (b *builder) addRows(ctx context.Context, w *store.Writer, dir, name string, t *contract.Table, query string) (*store.Writer, error) {
	for record, err := range b.e.Records(ctx, "current "+name, query) {
		if err == nil && record.NumRows() > 0 {
			if w == nil {
				w, err = store.NewWriter(filepath.Join(dir, filepath.FromSlash(name)+".parquet"), t, t.Columns)
			}
			if err == nil {
				err = w.Write(record)
			}
		}
		if err != nil {
			return w, err
		}
	}
	return w, nil
}

// unitRanges parts the unit numbers in hand into ranges of about rangeRows
// issues, in order, each as a condition on unit_no. Where the cuts lie is of no
// consequence.
func (b *builder) unitRanges(ctx context.Context, told int64) ([]string, error) {
	if told <= rangeRows {
		return []string{"true"}, nil
	}
	n := told/rangeRows + 1
	var shares []string
	for i := int64(1); i < n; i++ {
		shares = append(shares, fmt.Sprintf("%d.0 / %d", i, n))
	}
	_, rows, err := b.e.Rows(ctx, "ranges of unit numbers", fmt.Sprintf(`
SELECT DISTINCT unnest(quantile_disc(unit_no, [%s])) AS cut
FROM part_issues
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

// countUnits adds what one range tells of changes and of bedside records in a year.
func (b *builder) countUnits(ctx context.Context, year int64, notes *unitNotes) error {
	for _, count := range []struct {
		query, at string
		into      *int64
	}{
		{"SELECT count(*) FROM patient_changes WHERE ", "earliest_at", &notes.PatientChanges},
		{"SELECT count(*) FROM discarded_apart WHERE ", "issued_at", &notes.DiscardedApart},
		{"SELECT count(*) FROM bedside WHERE NOT joined AND ", "started_at", &notes.BedsideWithoutIssue},
		{"SELECT CAST(coalesce(sum(set_equal), 0) AS BIGINT) FROM bedside_joined WHERE ", "issued_at", &notes.BedsideSetEqual},
		{"SELECT CAST(coalesce(sum(emptied), 0) AS BIGINT) FROM bedside_joined WHERE ", "issued_at", &notes.BedsideEmptied},
	} {
		_, rows, err := b.e.Rows(ctx, "counts of current", count.query+inYear(count.at, year))
		if err != nil {
			return err
		}
		*count.into += rows[0][0].(int64)
	}
	return nil
}
