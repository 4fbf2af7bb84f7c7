package audit

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/store"
)

// rangeRows is about how many issues are resolved at once. All that decides on
// an issue bears the same unit number, so that a range of numbers stands alone.
const rangeRows = 250_000

// writeUnits resolves issues and bedside range by range of unit numbers, and
// writes their files.
func (b *builder) writeUnits(ctx context.Context, dir string, lines map[*contract.Table]*CurrentTable) error {
	tables := []*contract.Table{contract.Issues, contract.Bedside}
	writers := map[*contract.Table]*store.Writer{}
	for _, t := range tables {
		if err := b.e.View(ctx, "all_"+t.Name, t.SourceColumns(), b.st.SourceFiles(t.Name), "reading_file"); err != nil {
			return err
		}
		if lines[t] == nil {
			continue
		}
		w, err := store.NewWriter(filepath.Join(dir, t.Name+".parquet"), t, t.Columns)
		if err != nil {
			return err
		}
		defer w.Abort()
		writers[t] = w
	}
	if len(writers) == 0 {
		return nil
	}
	ranges, err := b.unitRanges(ctx, lines[contract.Issues])
	if err != nil {
		return err
	}
	for _, condition := range ranges {
		for _, t := range tables {
			err := b.e.Exec(ctx, "source_"+t.Name, fmt.Sprintf("CREATE OR REPLACE VIEW %s AS SELECT * FROM %s WHERE %s",
				engine.Name("source_"+t.Name), engine.Name("all_"+t.Name), condition))
			if err != nil {
				return err
			}
		}
		if err := Run(ctx, b.e, b.units, "told_issues", "issues"); err != nil {
			return err
		}
		for _, t := range tables {
			if writers[t] == nil {
				continue
			}
			if err := b.countGone(ctx, t, "true", lines[t]); err != nil {
				return err
			}
			if err := b.append(ctx, writers[t], t, "SELECT * FROM "+engine.Name(t.Name)); err != nil {
				return err
			}
		}
		if err := b.countUnits(ctx); err != nil {
			return err
		}
	}
	for _, t := range tables {
		if writers[t] == nil {
			continue
		}
		f, err := b.finish(writers[t])
		if err != nil {
			return err
		}
		lines[t].Current = f.Rows
	}
	return nil
}

// unitRanges parts the unit numbers into ranges of about rangeRows issues, in
// order, each as a condition on unit_no. Where the cuts lie is of no consequence.
func (b *builder) unitRanges(ctx context.Context, issues *CurrentTable) ([]string, error) {
	if issues == nil || issues.Read <= rangeRows {
		return []string{"true"}, nil
	}
	n := issues.Read/rangeRows + 1
	var shares []string
	for i := int64(1); i < n; i++ {
		shares = append(shares, fmt.Sprintf("%d.0 / %d", i, n))
	}
	_, rows, err := b.e.Rows(ctx, "ranges of unit numbers", fmt.Sprintf(`
SELECT DISTINCT unnest(quantile_disc(unit_no, [%s])) AS cut
FROM all_issues
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

// countUnits adds to the report what one range tells of changes and of bedside
// records.
func (b *builder) countUnits(ctx context.Context) error {
	for _, count := range []struct {
		query string
		into  *int64
	}{
		{"SELECT count(*) FROM patient_changes", &b.report.PatientChanges},
		{"SELECT count(*) FROM bedside WHERE NOT joined", &b.report.BedsideWithoutIssue},
		{"SELECT CAST(coalesce(sum(set_equal), 0) AS BIGINT) FROM bedside_joined", &b.report.BedsideSetEqual},
		{"SELECT CAST(coalesce(sum(emptied), 0) AS BIGINT) FROM bedside_joined", &b.report.BedsideEmptied},
	} {
		_, rows, err := b.e.Rows(ctx, "counts of current", count.query)
		if err != nil {
			return err
		}
		*count.into += rows[0][0].(int64)
	}
	return nil
}
