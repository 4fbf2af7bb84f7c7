package audit

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/store"
)

// wholeFeeds are the feeds whose rows do not stand alone in time: their file is
// made of all readings wherever one of theirs came or went.
var wholeFeeds = []*contract.Table{contract.Patients, contract.Aliases, contract.Activity}

// resolve runs queries, aliases first: where they lead in a circle, nothing else
// can be told of the patients concerned.
func resolve(ctx context.Context, e *engine.Engine, ordered []*Query) error {
	last := slices.IndexFunc(ordered, func(q *Query) bool { return q.Name == "alias_circles" }) + 1
	if err := Run(ctx, e, ordered[:last]); err != nil {
		return err
	}
	_, circles, err := e.Rows(ctx, "alias_circles", "SELECT source_file, source_row FROM alias_circles")
	if err != nil {
		return err
	}
	if len(circles) > 0 {
		const shown = 6
		var places []string
		for _, row := range circles[:min(shown, len(circles))] {
			places = append(places, fmt.Sprintf("%v:%v", row[0], row[1]))
		}
		if len(circles) > shown {
			places = append(places, fmt.Sprintf("and %d more", len(circles)-shown))
		}
		return fmt.Errorf("%s: aliases lead back to themselves, wanted each to end in a number that is no alias: cancel the wrong row in a later export, or withdraw its file", strings.Join(places, ", "))
	}
	return Run(ctx, e, ordered[last:])
}

// resolveAliases resolves the aliases, and makes the table changed_aliases of
// those that end elsewhere than in the layer as it stands.
func (b *builder) resolveAliases(ctx context.Context) error {
	if err := resolve(ctx, b.e, b.groups[contract.Aliases.Name]); err != nil {
		return err
	}
	// The layer's own file says where each ended.
	var before []string
	if f, found := b.kept[contract.Aliases.Name]; found {
		if !whole(f) {
			b.old = layerParts{}
		}
		before = append(before, f.Path)
	}
	if err := b.e.View(ctx, "aliases_before", contract.Aliases.Columns, before, ""); err != nil {
		return err
	}
	err := b.e.Exec(ctx, "changed aliases", `
CREATE OR REPLACE TABLE changed_aliases AS
SELECT coalesce(alias_ends.alias, ended.alias) AS alias
FROM alias_ends
FULL JOIN (SELECT alias, patient_id FROM aliases_before WHERE alias <> patient_id) AS ended ON ended.alias = alias_ends.alias
WHERE alias_ends.patient_id IS DISTINCT FROM ended.patient_id`)
	if err != nil {
		return err
	}
	_, rows, err := b.e.Rows(ctx, "changed aliases", "SELECT alias FROM changed_aliases")
	if err != nil || len(rows) == 0 {
		return err
	}
	b.renamed = map[string]bool{}
	if b.old.Made == "" {
		return nil
	}
	var changed store.Numbers
	for _, row := range rows {
		changed.Add(row[0].(string))
	}
	changed.Order()
	var group errgroup.Group
	group.SetLimit(sessions)
	for _, r := range b.readings {
		group.Go(func() error {
			if bears, _ := r.Tells(&changed, nil); bears {
				b.mutex.Lock()
				defer b.mutex.Unlock()
				b.renamed[r.ID] = true
			}
			return nil
		})
	}
	return group.Wait()
}

// filesRenamed lists the files of a table, or of a test, in which a row may bear
// an alias that ends elsewhere than in the layer as it stands.
func (b *builder) filesRenamed(source string) []string {
	var files []string
	for _, r := range b.readings {
		if path := r.FilePath(source); path != "" && b.renamed[r.ID] {
			files = append(files, path)
		}
	}
	return files
}

// readParquet is the table of all rows of stored files of one shape, as SQL.
func readParquet(files []string) string {
	quoted := make([]string, len(files))
	for i, f := range files {
		quoted[i] = engine.Quote(f)
	}
	return "read_parquet([" + strings.Join(quoted, ", ") + "], hive_partitioning = false)"
}

// union is all rows of some queries, as SQL.
func union(queries []string) string { return strings.Join(queries, " UNION ALL ") }

// bears is the condition that a row's number is an alias that ends elsewhere than
// in the layer as it stands, as SQL.
const bears = "patient_id IN (SELECT alias FROM changed_aliases)"

// writeWhole makes the one file of a table that is resolved as a whole.
func (b *builder) writeWhole(ctx context.Context, e *engine.Engine, dir string, t *contract.Table) error {
	if b.rowsRead(t.Name) < 0 {
		return nil
	}
	kept, found := b.kept[t.Name]
	stands := found && (b.same(t.Name) || overlooked(t.Name))
	if files := b.filesRenamed(t.Name); stands && t == contract.Patients && len(files) > 0 {
		_, rows, err := e.Rows(ctx, "aliases of patients", "SELECT 1 FROM "+readParquet(files)+" WHERE "+bears+" LIMIT 1")
		if err != nil {
			return err
		}
		stands = len(rows) == 0
	}
	p := b.old.Whole[t.Name]
	var err error
	switch {
	case stands:
		b.keep(t.Name)
	case t == contract.Patients && b.mayMerge(kept, found):
		p, err = b.mergePatients(ctx, e, dir, kept)
	default:
		p, err = b.makeWhole(ctx, e, dir, t)
	}
	if err != nil {
		return err
	}
	b.mutex.Lock()
	defer b.mutex.Unlock()
	b.made.Whole[t.Name] = p
	return nil
}

// makeWhole makes a file of all readings.
func (b *builder) makeWhole(ctx context.Context, e *engine.Engine, dir string, t *contract.Table) (partRows, error) {
	if t != contract.Aliases {
		if err := Run(ctx, e, b.groups[t.Name]); err != nil {
			return partRows{}, err
		}
	}
	gone, err := b.gone(ctx, e, t, "0", "true")
	if err != nil {
		return partRows{}, err
	}
	f, err := b.writeFile(ctx, e, dir, t, "SELECT * FROM "+engine.Name(t.Name))
	p := gone[0]
	p.Current = f.Rows
	return p, err
}

// writeRecorded makes the file that tells in which months feeds were kept.
func (b *builder) writeRecorded(ctx context.Context, e *engine.Engine, dir string) error {
	name := contract.Recorded.Name
	if _, found := b.kept[name]; found && b.same(contract.Events.Name, contract.Medicines.Name) {
		b.keep(name)
		return nil
	}
	// Where readings have only come, what they tell is added to what stands there.
	tables := []*contract.Table{contract.Events, contract.Medicines}
	f, found := b.kept[name]
	adds := found && b.old.Made != "" && whole(f)
	for _, t := range tables {
		adds = adds && !slices.ContainsFunc(b.old.Readings[t.Name], func(id string) bool { return !slices.Contains(b.made.Readings[t.Name], id) })
	}
	var before []string
	if adds {
		before = append(before, f.Path)
	}
	if err := e.View(ctx, "recorded_before", contract.Recorded.Columns, before, ""); err != nil {
		return err
	}
	for _, t := range tables {
		var files []string
		for _, r := range b.readings {
			if path := r.FilePath(t.Name); path != "" && !(adds && slices.Contains(b.old.Readings[t.Name], r.ID)) {
				files = append(files, path)
			}
		}
		if err := e.View(ctx, "source_"+t.Name, t.SourceColumns(), files, "reading_file"); err != nil {
			return err
		}
	}
	if err := Run(ctx, e, b.groups[name]); err != nil {
		return err
	}
	_, err := b.writeFile(ctx, e, dir, contract.Recorded, `
SELECT what, month, min(first_day) AS first_day, max(last_day) AS last_day, CAST(sum(rows_told) AS BIGINT) AS rows_told
FROM (SELECT * FROM recorded UNION ALL SELECT * FROM recorded_before)
GROUP BY what, month
ORDER BY what, month`)
	return err
}

// gone counts by part the rows of standing_<table> that did not stay, under a
// condition; part is a row's, as SQL.
func (b *builder) gone(ctx context.Context, e *engine.Engine, t *contract.Table, part, condition string) (map[int64]partRows, error) {
	table := "standing_" + t.Name
	_, rows, err := e.Rows(ctx, table, fmt.Sprintf(
		"SELECT CAST(%s AS BIGINT) AS part, standing, count(*) FROM %s WHERE standing <> 'current' AND %s GROUP BY ALL", part, engine.Name(table), condition))
	if err != nil {
		return nil, err
	}
	counts := map[int64]partRows{}
	for _, row := range rows {
		if no, found := row[0].(int64); found {
			p := counts[no]
			p.add(row[1], row[2])
			counts[no] = p
		}
	}
	return counts, nil
}

// standTogether names the columns of a table of which equal words stand together:
// most tables of patients are ordered by their number, and say each many times.
func standTogether(t *contract.Table) []string {
	if len(t.Key) > 1 && t != contract.Issues && t != contract.Bedside {
		return t.Key[:1]
	}
	return nil
}

// writeFile writes the ordered rows of a query as the one file of a table.
func (b *builder) writeFile(ctx context.Context, e *engine.Engine, dir string, t *contract.Table, query string) (store.File, error) {
	w, err := store.NewWriter(filepath.Join(dir, t.Name+".parquet"), t, t.Columns, standTogether(t)...)
	if err != nil {
		return store.File{}, err
	}
	defer w.Abort()
	for record, err := range e.Records(ctx, "current "+t.Name, query) {
		if err == nil {
			err = w.Write(record)
		}
		if err != nil {
			return store.File{}, err
		}
	}
	f, err := w.Close()
	if err == nil {
		b.put(f)
	}
	return f, err
}
