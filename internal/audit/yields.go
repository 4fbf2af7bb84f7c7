package audit

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/store"
)

// Yield tells that rows of an export that has come give way to rows of exports that
// were there before it and stand later among the sources. Where it was meant to
// correct them, it does not.
type Yield struct {
	Table string
	File  string
	Dated bool
	Rows  int64
	// To are the exports whose rows stand, in source order.
	To []string
}

// Line says it, with the next step.
func (y Yield) Line() string {
	const shown = 3
	to := strings.Join(y.To[:min(shown, len(y.To))], ", ")
	if more := len(y.To) - shown; more > 0 {
		to += fmt.Sprintf(" and %d more", more)
	}
	text := fmt.Sprintf("%s: %d of its rows of %s yield to rows of files that stand later: %s", y.File, y.Rows, y.Table, to)
	if !y.Dated {
		return text + "; a file whose name bears no date by the feed's file_date stands before all that have one, and among those without by its name: where it is the newer one, save it under a name with the date and state file_date"
	}
	return text + "; files stand in the order of the date in their names: where it is the newer one, mend the date in its name"
}

// sameKey is, for each table, when a row told is of the key of a current row, as
// SQL; near enough to say it to a person. An issue is the same within ten minutes.
var sameKey = map[*contract.Table]string{
	contract.Issues: "told.unit_no = stands.unit_no AND told.product_code = stands.product_code AND told.bag_no IS NOT DISTINCT FROM stands.bag_no AND " +
		"(abs(epoch(told.issued_at) - epoch(stands.issued_at)) <= 600 OR told.issued_at IS NULL AND stands.issued_at IS NULL)",
	contract.Bedside:   "told.unit_no = stands.unit_no AND told.product_code IS NOT DISTINCT FROM stands.product_code AND told.started_at = stands.started_at",
	contract.Labs:      "told.patient_id = stands.patient_id AND told.collected_at = stands.collected_at AND told.test = stands.test AND told.point_of_care = stands.point_of_care",
	contract.Measures:  "told.patient_id = stands.patient_id AND told.kind = stands.kind AND told.measured_at = stands.measured_at AND told.method IS NOT DISTINCT FROM stands.method",
	contract.Events:    `told.patient_id = stands.patient_id AND told.kind = stands.kind AND told."at" = stands."at"`,
	contract.Medicines: "told.patient_id = stands.patient_id AND told.medicine = stands.medicine AND told.given_at = stands.given_at",
	contract.Patients:  "told.patient_id = stands.patient_id",
	contract.Aliases:   "told.alias = stands.alias",
	contract.Activity:  "told.month = stands.month AND told.measure = stands.measure AND told.location IS NOT DISTINCT FROM stands.location",
}

// Yields tells which of the readings of those ids, which have come, yield to others.
// What stands last of its table yields to none, and that is what a month's export
// does: only of others anything is read.
func Yields(ctx context.Context, st *store.Store, fresh map[string]bool) (all []Yield, err error) {
	readings := st.Readings()
	var e *engine.Engine
	defer func() {
		if e != nil {
			e.Close()
		}
	}()
	for i, r := range readings {
		var later []string
		if fresh[r.ID] {
			for _, other := range readings[i+1:] {
				if other.Table == r.Table && !fresh[other.ID] && other.File != r.File && other.Accepted > 0 && !slices.Contains(later, other.File) {
					later = append(later, other.File)
				}
			}
		}
		table := contract.Find(r.Table)
		stands := CurrentFiles(st, table)
		if len(later) == 0 || r.Accepted == 0 || len(stands) == 0 {
			continue
		}
		if e == nil {
			temp, err := st.TempDir()
			if err != nil {
				return nil, err
			}
			if e, err = engine.Open(ctx, engine.Options{TempDir: temp}); err != nil {
				return nil, err
			}
		}
		y, err := yields(ctx, e, st, table, r, later)
		if err != nil {
			return nil, err
		}
		if y.Rows > 0 {
			all = append(all, y)
		}
	}
	return all, nil
}

// yields counts for one reading.
func yields(ctx context.Context, e *engine.Engine, st *store.Store, t *contract.Table, r store.Reading, later []string) (Yield, error) {
	y := Yield{Table: r.Table, File: r.File, Dated: r.Date != ""}
	names := make([]string, len(later))
	for i, name := range later {
		names[i] = engine.Quote(name)
	}
	rows := map[string]int64{}
	for _, f := range r.Files {
		if f.Name == contract.Problems.Name || f.Rows == 0 {
			continue
		}
		stands, err := standing(ctx, e, st, t, f)
		if err != nil {
			return y, err
		}
		if len(stands) == 0 {
			continue
		}
		_, found, err := e.Rows(ctx, "rows that yield", fmt.Sprintf(`
SELECT source_file, count(*)
FROM (
    SELECT told.source_row, min(stands.source_file) AS source_file
    FROM %s AS told
    JOIN (SELECT * FROM %s WHERE source_file IN (%s)) AS stands ON %s
    GROUP BY told.source_row
)
GROUP BY source_file`, readParquet([]string{f.Path}), readParquet(stands), strings.Join(names, ", "), sameKey[t]))
		if err != nil {
			return y, err
		}
		for _, row := range found {
			rows[row[0].(string)] += row[1].(int64)
		}
	}
	for _, name := range later {
		if rows[name] > 0 {
			y.Rows += rows[name]
			y.To = append(y.To, name)
		}
	}
	return y, nil
}

// standing lists the files of the layer that may hold what a stored file tells of:
// of results, those of its test and its years.
func standing(ctx context.Context, e *engine.Engine, st *store.Store, t *contract.Table, f store.File) ([]string, error) {
	test, ofLabs := strings.CutPrefix(f.Name, contract.Labs.Name+"-")
	if !ofLabs {
		return CurrentFiles(st, t), nil
	}
	_, rows, err := e.Rows(ctx, "years told", "SELECT min(collected_at), max(collected_at) FROM "+readParquet([]string{f.Path}))
	if err != nil {
		return nil, err
	}
	first, _ := rows[0][0].(time.Time)
	last, _ := rows[0][1].(time.Time)
	var some []string
	for _, one := range st.Layer("current") {
		if year := yearOf(one); strings.HasPrefix(one.Name, contract.Labs.Name+"/"+test+"/") && fmt.Sprintf("%04d", first.Year()) <= year && year <= fmt.Sprintf("%04d", last.Year()) {
			some = append(some, one.Path)
		}
	}
	return some, nil
}
