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
)

// batchRows is about how many results are resolved at once: with their working
// space they stay within the engine's memory.
const batchRows = 4_000_000

// labPart tells what one file of labs was made from, and what became of the rows.
type labPart struct {
	// From is a hash over the queries, the readings that hold results of the
	// year, and the aliases among them.
	From string `json:"from"`
	partRows
}

// labYear is one year of a test: the readings' files that may hold results of it.
type labYear struct {
	year  int64
	files []string
	// rows is about how many results they hold of it.
	rows int64
	from string
}

// writeLabs writes a file for each test and year whose results may have
// changed, and keeps the others.
func (b *builder) writeLabs(ctx context.Context, dir string, line *CurrentTable) error {
	for _, test := range contract.Tests {
		years, err := b.labYears(ctx, test)
		if err != nil {
			return err
		}
		var stale []labYear
		for _, y := range years {
			name := partName(test, y.year)
			_, found := b.kept[name]
			p := b.old.Labs[name]
			// A year without a result left has no file, and need have none.
			if p.From != y.from || (!found && p.Current > 0) {
				stale = append(stale, y)
				continue
			}
			b.made.Labs[name] = p
			b.keep(name)
		}
		for len(stale) > 0 {
			n, rows := 0, int64(0)
			for n < len(stale) && (n == 0 || rows+stale[n].rows <= batchRows) {
				rows += stale[n].rows
				n++
			}
			if err := b.writeYears(ctx, dir, test, stale[:n]); err != nil {
				return err
			}
			stale = stale[n:]
		}
	}
	for _, p := range b.made.Labs {
		p.addTo(line)
	}
	return nil
}

// partName is the name in the layer of a test's file of one year (UTC).
func partName(test string, year int64) string { return fmt.Sprintf("labs/%s/%04d", test, year) }

// labYears lists the years of which readings hold results of a test, by the
// least and greatest sample time that each stored file states of itself.
func (b *builder) labYears(ctx context.Context, test string) ([]labYear, error) {
	files := b.st.SourceFiles("labs-" + test)
	if len(files) == 0 {
		return nil, nil
	}
	quoted := make([]string, len(files))
	ids, places := map[string]string{}, map[string]int{}
	for i, f := range files {
		quoted[i], places[f] = engine.Quote(f), i
	}
	for _, r := range b.readings {
		ids[r.FilePath("labs-"+test)] = r.ID
	}
	_, rows, err := b.e.Rows(ctx, "years of "+test, `
SELECT
    file_name,
    min(year(CAST(stats_min_value AS TIMESTAMP))) AS first_year,
    max(year(CAST(stats_max_value AS TIMESTAMP))) AS last_year,
    CAST(sum(row_group_num_rows) AS BIGINT) AS results,
    bool_or(stats_min_value IS NULL OR stats_max_value IS NULL) AS not_told
FROM parquet_metadata([`+strings.Join(quoted, ", ")+`])
WHERE path_in_schema = 'collected_at' AND row_group_num_rows > 0
GROUP BY file_name`)
	if err != nil {
		return nil, err
	}
	slices.SortFunc(rows, func(a, b []any) int { return places[a[0].(string)] - places[b[0].(string)] })
	byYear := map[int64]*labYear{}
	for _, row := range rows {
		file := row[0].(string)
		if row[4] == true {
			return nil, fmt.Errorf("%s: the file does not state its sample times: withdraw the reading and ingest its export again", file)
		}
		first, last, results := row[1].(int64), row[2].(int64), row[3].(int64)
		for year := first; year <= last; year++ {
			y := byYear[year]
			if y == nil {
				y = &labYear{year: year}
				byYear[year] = y
			}
			y.files = append(y.files, file)
			y.rows += results / (last - first + 1)
		}
	}
	aliases, err := b.labAliases(ctx, test, files)
	if err != nil {
		return nil, err
	}
	var years []labYear
	for year, y := range byYear {
		h := sha256.New()
		fmt.Fprintf(h, "%s\x00%s\x00%d\x00%s\x00", b.fingerprint, test, year, aliases[year])
		for _, file := range y.files {
			fmt.Fprintf(h, "%s\x00", ids[file])
		}
		y.from = hex.EncodeToString(h.Sum(nil))
		years = append(years, *y)
	}
	slices.SortFunc(years, func(a, b labYear) int { return int(a.year - b.year) })
	return years, nil
}

// labAliases tells for each year which aliases its results bear, as text to be
// hashed: an alias that no result bears makes no file anew.
func (b *builder) labAliases(ctx context.Context, test string, files []string) (map[int64]string, error) {
	_, any, err := b.e.Rows(ctx, "aliases", "SELECT 1 FROM alias_ends LIMIT 1")
	if err != nil || len(any) == 0 {
		return nil, err
	}
	if err := b.e.View(ctx, "source_labs", contract.Labs.SourceColumns(), files, "reading_file"); err != nil {
		return nil, err
	}
	_, rows, err := b.e.Rows(ctx, "aliases of "+test, `
SELECT year(source_labs.collected_at) AS year, alias_ends.alias, alias_ends.patient_id
FROM source_labs
JOIN alias_ends ON alias_ends.alias = source_labs.patient_id
GROUP BY ALL
ORDER BY ALL`)
	if err != nil {
		return nil, err
	}
	return aliasTexts(rows), nil
}

// writeYears resolves the results of some years of a test, and writes a file
// for each year that has one left.
func (b *builder) writeYears(ctx context.Context, dir, test string, years []labYear) error {
	var files, spans []string
	for _, y := range years {
		for _, f := range y.files {
			if !slices.Contains(files, f) {
				files = append(files, f)
			}
		}
		spans = append(spans, inYear("collected_at", y.year))
	}
	if err := b.e.View(ctx, "all_labs", contract.Labs.SourceColumns(), files, "reading_file"); err != nil {
		return err
	}
	// The span lets the engine pass over row groups of other years.
	err := b.e.Exec(ctx, "source_labs", fmt.Sprintf("CREATE OR REPLACE VIEW source_labs AS SELECT * FROM all_labs WHERE collected_at >= %s AND collected_at < %s AND (%s)",
		yearStart(years[0].year), yearStart(years[len(years)-1].year+1), strings.Join(spans, " OR ")))
	if err != nil {
		return err
	}
	if err := Run(ctx, b.e, b.labs, "told_labs", "labs"); err != nil {
		return err
	}
	for _, y := range years {
		p := labPart{From: y.from}
		if err := b.countPart(ctx, contract.Labs, inYear("collected_at", y.year), &p.partRows); err != nil {
			return err
		}
		_, some, err := b.e.Rows(ctx, "labs", "SELECT 1 FROM labs WHERE "+inYear("collected_at", y.year)+" LIMIT 1")
		if err != nil {
			return err
		}
		name := partName(test, y.year)
		if len(some) > 0 {
			f, err := b.writeFile(ctx, filepath.Join(dir, filepath.FromSlash(name)+".parquet"), contract.Labs,
				"SELECT * FROM labs WHERE "+inYear("collected_at", y.year)+" ORDER BY patient_id, collected_at, point_of_care")
			if err != nil {
				return err
			}
			p.Current = f.Rows
		}
		b.made.Labs[name] = p
	}
	return nil
}

// yearStart is the first instant of a year, as SQL.
func yearStart(year int64) string { return fmt.Sprintf("TIMESTAMP '%04d-01-01 00:00:00'", year) }

// inYear is the condition that an instant lies in a year (UTC), as SQL.
func inYear(instant string, year int64) string {
	return fmt.Sprintf("(%s >= %s AND %s < %s)", instant, yearStart(year), instant, yearStart(year+1))
}
