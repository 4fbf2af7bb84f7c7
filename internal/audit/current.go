package audit

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/site"
	"thawline/internal/store"
	"thawline/queries"
)

// currentVersion names what Go does to the layer current beside the queries.
// Change it when the same readings and queries would give other files.
const currentVersion = "current 5"

// Current brings the layer current of a store open for writing up to date: it
// resolves what all readings tell, and replaces the layer as a whole. Where
// nothing that it is made from has changed, it writes nothing. Aliases that
// lead in a circle are an error, which names their rows.
func Current(ctx context.Context, st *store.Store, s *site.Site) (CurrentReport, error) {
	return current(ctx, st, clock{s.Zone, s.ZoneName}, 0)
}

// clock is the hospital's: its location and the name it goes by.
type clock struct {
	zone *time.Location
	name string
}

// builder holds what one run of Current shares between its steps.
type builder struct {
	e        *engine.Engine
	st       *store.Store
	readings []store.Reading
	// general are the queries that run once; units those of issues and bedside,
	// which run once a year or range of unit numbers; labs those that run once a test.
	general, units, labs []*Query
	fingerprint          string
	report               CurrentReport
	files                []store.File
	// kept are the files of the layer as it stands, old what it was made from;
	// made is what the new one is made from.
	kept      map[string]store.File
	old, made allParts
}

// current brings the layer up to date. threads is the engine's, 0 its default.
func current(ctx context.Context, st *store.Store, at clock, threads int) (CurrentReport, error) {
	b := &builder{st: st, readings: st.Readings()}
	macros, err := b.load()
	if err != nil {
		return CurrentReport{}, err
	}
	facts := store.LayerFacts{From: b.from(at)}
	if old, found := st.LayerFacts("current"); found && old.From == facts.From {
		report := reportOf(old.Sums)
		report.UpToDate, report.Kept, report.Written = true, int64(len(st.Layer("current"))), 0
		return report, nil
	}
	temp, err := st.TempDir()
	if err != nil {
		return CurrentReport{}, err
	}
	b.e, err = engine.Open(ctx, engine.Options{TempDir: temp, Threads: threads})
	if err != nil {
		return CurrentReport{}, err
	}
	defer b.e.Close()
	if err := b.e.Exec(ctx, "queries/macros.sql", macros); err != nil {
		return CurrentReport{}, err
	}
	if err := b.e.Zone(ctx, at.zone); err != nil {
		return CurrentReport{}, err
	}
	if err := b.sources(ctx); err != nil {
		return CurrentReport{}, err
	}
	if err := resolve(ctx, b.e, b.general); err != nil {
		return CurrentReport{}, err
	}
	// The sums are known only once the files are written: the manifest takes
	// them after stage has run.
	facts.Sums = map[string]int64{}
	err = st.ReplaceLayer(ctx, "current", func(dir string) ([]store.File, error) {
		if err := b.write(ctx, at, dir); err != nil {
			return nil, err
		}
		b.report.fill(facts.Sums)
		return b.files, nil
	}, facts)
	return b.report, err
}

// from is a hash over all that the layer current is made from.
func (b *builder) from(at clock) string {
	h := sha256.New()
	fmt.Fprintf(h, "%s\x00%s\x00", b.fingerprint, at.name)
	for _, r := range b.readings {
		fmt.Fprintf(h, "%s\x00", r.ID)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// load reads the stage's queries, ordered, and returns the macros' text.
func (b *builder) load() (string, error) {
	macros, err := queries.FS.ReadFile("macros.sql")
	if err != nil {
		return "", err
	}
	ordered, err := currentQueries()
	if err != nil {
		return "", err
	}
	b.fingerprint = fmt.Sprintf("%s\x00%d\x00%s\x00%s", currentVersion, contract.Version, Fingerprint(ordered), store.SHA256(macros))
	b.labs, ordered = following(ordered, "source_labs")
	b.units, b.general = following(ordered, "source_issues", "source_bedside")
	return string(macros), nil
}

// following parts ordered queries into those that read one of the tables, at
// first or second hand, and the others.
func following(ordered []*Query, tables ...string) (follow, others []*Query) {
	for _, q := range ordered {
		if slices.ContainsFunc(q.Reads(), func(name string) bool { return slices.Contains(tables, name) }) {
			follow, tables = append(follow, q), append(tables, q.Name)
		} else {
			others = append(others, q)
		}
	}
	return follow, others
}

// currentQueries returns the stage's queries in the order in which they run.
func currentQueries() ([]*Query, error) {
	all, err := LoadQueries(queries.FS, "1-current")
	if err != nil {
		return nil, err
	}
	return Order(all)
}

// sources makes the table readings and, for each feed that is resolved whole,
// the view source_<table> over all its readings.
func (b *builder) sources(ctx context.Context) error {
	var rows [][]any
	for i, r := range b.readings {
		for _, f := range r.Files {
			rows = append(rows, []any{f.Path, int64(i)})
		}
	}
	if err := b.e.Load(ctx, "readings", readingColumns, rows); err != nil {
		return err
	}
	for _, t := range contract.Feeds() {
		if t == contract.Labs || t == contract.Issues || t == contract.Bedside {
			continue
		}
		if err := b.e.View(ctx, "source_"+t.Name, t.SourceColumns(), b.st.SourceFiles(t.Name), "reading_file"); err != nil {
			return err
		}
	}
	return nil
}

// readingColumns is the shape of the table readings: the source order of each
// stored file.
var readingColumns = []contract.Column{{Name: "reading_file"}, {Name: "reading_order", Kind: contract.Int}}

// resolve runs the queries, aliases first: where they lead in a circle, nothing
// else can be told of the patients concerned.
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

// write stages every file of the layer.
func (b *builder) write(ctx context.Context, at clock, dir string) error {
	if err := b.keptParts(); err != nil {
		return err
	}
	lines := map[*contract.Table]*CurrentTable{}
	for _, t := range contract.Feeds() {
		if read := b.rowsRead(t.Name); read >= 0 {
			lines[t] = &CurrentTable{Table: t.Name, Read: read}
		}
	}
	if err := b.writeUnits(ctx, at, dir, lines); err != nil {
		return err
	}
	for _, t := range contract.Feeds() {
		line := lines[t]
		var err error
		switch {
		case line == nil:
			continue
		case t == contract.Labs:
			err = b.writeLabs(ctx, dir, line)
		case t != contract.Issues && t != contract.Bedside:
			err = b.writeWhole(ctx, dir, t, line)
		}
		if err != nil {
			return err
		}
		if gone := line.Superseded + line.Cancelled + line.GivenWay; line.Read != line.Current+gone {
			return fmt.Errorf("the sums of %s do not add up: the readings hold %d rows, but %d are current + %d superseded + %d cancelled + %d given way: please report this as a defect of thawline",
				t.Name, line.Read, line.Current, line.Superseded, line.Cancelled, line.GivenWay)
		}
		b.report.Tables = append(b.report.Tables, *line)
	}
	if _, err := b.writeFile(ctx, filepath.Join(dir, contract.Recorded.Name+".parquet"), contract.Recorded, "SELECT * FROM recorded"); err != nil {
		return err
	}
	return b.writeParts(dir)
}

// writeWhole writes the one file of a table that was resolved whole.
func (b *builder) writeWhole(ctx context.Context, dir string, t *contract.Table, line *CurrentTable) error {
	if err := b.countGone(ctx, t, "true", line); err != nil {
		return err
	}
	f, err := b.writeFile(ctx, filepath.Join(dir, t.Name+".parquet"), t, "SELECT * FROM "+engine.Name(t.Name))
	line.Current = f.Rows
	return err
}

// countGone adds to line the rows of standing_<table> under a condition that
// did not stay.
func (b *builder) countGone(ctx context.Context, t *contract.Table, condition string, line *CurrentTable) error {
	table := "standing_" + t.Name
	_, rows, err := b.e.Rows(ctx, table, "SELECT standing, count(*) FROM "+engine.Name(table)+" WHERE "+condition+" GROUP BY standing")
	for _, row := range rows {
		line.add(row[0], row[1])
	}
	return err
}

// rowsRead is the number of rows that the readings of a table hold by the
// store's own account, or -1 where it has no reading.
func (b *builder) rowsRead(table string) int64 {
	rows, found := int64(0), false
	for _, r := range b.readings {
		if r.Table != table {
			continue
		}
		found = true
		for _, f := range r.Files {
			if f.Name != contract.Problems.Name {
				rows += f.Rows
			}
		}
	}
	if !found {
		return -1
	}
	return rows
}

// writeFile writes the ordered rows of a query as one file of the layer.
func (b *builder) writeFile(ctx context.Context, path string, t *contract.Table, query string) (store.File, error) {
	var together []string
	// Most tables of patients are ordered by their number, and say each many times.
	if len(t.Key) > 1 {
		together = t.Key[:1]
	}
	w, err := store.NewWriter(path, t, t.Columns, together...)
	if err != nil {
		return store.File{}, err
	}
	defer w.Abort()
	if err := b.append(ctx, w, t, query); err != nil {
		return store.File{}, err
	}
	return b.finish(w)
}

// append writes the rows of a query.
func (b *builder) append(ctx context.Context, w *store.Writer, t *contract.Table, query string) error {
	for record, err := range b.e.Records(ctx, "current "+t.Name, query) {
		if err == nil {
			err = w.Write(record)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// finish closes a file of the layer.
func (b *builder) finish(w *store.Writer) (store.File, error) {
	f, err := w.Close()
	if err != nil {
		return f, err
	}
	b.files = append(b.files, f)
	b.report.Written++
	return f, nil
}
