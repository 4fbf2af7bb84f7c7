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
const currentVersion = "current 1"

// CurrentTable tells what became of the rows of one table's readings:
// Read = Current + Superseded + Cancelled + GivenWay.
type CurrentTable struct {
	Table string `json:"table"`
	// Read counts the rows that all readings hold.
	Read int64 `json:"read"`
	// Current counts the rows that are true now.
	Current int64 `json:"current"`
	// Superseded counts rows that a later row of the same key replaced.
	Superseded int64 `json:"superseded"`
	// Cancelled counts cancellations and the rows that they took out.
	Cancelled int64 `json:"cancelled"`
	// GivenWay counts ratios made from times that gave way to ratios told.
	GivenWay int64 `json:"given_way"`
}

// CurrentReport tells what Current did.
type CurrentReport struct {
	// UpToDate says that nothing had changed, and nothing was written.
	UpToDate bool `json:"up_to_date"`
	// Tables holds a line for each feed that has a reading, in contract order.
	Tables []CurrentTable `json:"tables"`
	// PatientChanges counts issues that were told of more than one patient.
	PatientChanges int64 `json:"patient_changes"`
	// BedsideWithoutIssue counts bedside records that found no issue.
	BedsideWithoutIssue int64 `json:"bedside_without_issue"`
	// BedsideSetEqual counts bedside times up to ten minutes too early that
	// were set equal; BedsideEmptied cells over the limits of issues.
	BedsideSetEqual int64 `json:"bedside_set_equal"`
	BedsideEmptied  int64 `json:"bedside_emptied"`
	// Written and Kept count the layer's files made anew and left as they were.
	Written int64 `json:"files_written"`
	Kept    int64 `json:"files_kept"`
}

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
	// general are the queries of all tables but labs, labs those that run once
	// a test.
	general, labs []*Query
	fingerprint   string
	report        CurrentReport
	files         []store.File
}

// current brings the layer up to date. threads is the engine's, 0 its default.
func current(ctx context.Context, st *store.Store, at clock, threads int) (CurrentReport, error) {
	b := &builder{st: st, readings: st.Readings()}
	macros, err := b.load()
	if err != nil {
		return CurrentReport{}, err
	}
	from := sha256.New()
	fmt.Fprintf(from, "%s\x00%s\x00", b.fingerprint, at.name)
	for _, r := range b.readings {
		fmt.Fprintf(from, "%s\x00", r.ID)
	}
	facts := store.LayerFacts{From: hex.EncodeToString(from.Sum(nil))}
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
		if err := b.write(ctx, dir); err != nil {
			return nil, err
		}
		b.report.fill(facts.Sums)
		return b.files, nil
	}, facts)
	return b.report, err
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
	for _, q := range ordered {
		if strings.HasSuffix(q.Name, "labs") {
			b.labs = append(b.labs, q)
		} else {
			b.general = append(b.general, q)
		}
	}
	b.fingerprint = fmt.Sprintf("%s\x00%d\x00%s\x00%s", currentVersion, contract.Version, Fingerprint(ordered), store.SHA256(macros))
	return string(macros), nil
}

// currentQueries returns the stage's queries in the order in which they run.
func currentQueries() ([]*Query, error) {
	all, err := LoadQueries(queries.FS, "1-current")
	if err != nil {
		return nil, err
	}
	return Order(all)
}

// sources makes the table readings and, for each feed but labs, the view
// source_<table> over all its readings.
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
		if t == contract.Labs {
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
func (b *builder) write(ctx context.Context, dir string) error {
	for _, t := range contract.Feeds() {
		read := b.rowsRead(t.Name)
		if read < 0 {
			continue
		}
		line := CurrentTable{Table: t.Name, Read: read}
		if t == contract.Labs {
			if err := b.writeLabs(ctx, dir, &line); err != nil {
				return err
			}
		} else {
			f, err := b.writeFile(ctx, filepath.Join(dir, t.Name+".parquet"), t, "SELECT * FROM "+engine.Name(t.Name))
			if err != nil {
				return err
			}
			line.Current = f.Rows
			_, standings, err := b.e.Rows(ctx, "standing_"+t.Name, "SELECT standing, count(*) FROM "+engine.Name("standing_"+t.Name)+" GROUP BY standing")
			if err != nil {
				return err
			}
			for _, row := range standings {
				line.add(row[0], row[1])
			}
		}
		if gone := line.Superseded + line.Cancelled + line.GivenWay; line.Read != line.Current+gone {
			return fmt.Errorf("the sums of %s do not add up: the readings hold %d rows, but %d are current + %d superseded + %d cancelled + %d given way: please report this as a defect of thawline",
				t.Name, line.Read, line.Current, line.Superseded, line.Cancelled, line.GivenWay)
		}
		b.report.Tables = append(b.report.Tables, line)
	}
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
		*count.into = rows[0][0].(int64)
	}
	return nil
}

// add counts rows of one standing. Current rows are counted as they are written.
func (c *CurrentTable) add(standing, rows any) {
	n, _ := rows.(int64)
	switch standing {
	case "superseded":
		c.Superseded += n
	case "cancelled":
		c.Cancelled += n
	case "given way":
		c.GivenWay += n
	}
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
	w, err := store.NewWriter(path, t, t.Columns)
	if err != nil {
		return store.File{}, err
	}
	for record, err := range b.e.Records(ctx, "current "+t.Name, query) {
		if err == nil {
			err = w.Write(record)
		}
		if err != nil {
			w.Abort()
			return store.File{}, err
		}
	}
	f, err := w.Close()
	if err != nil {
		return f, err
	}
	b.files = append(b.files, f)
	b.report.Written++
	return f, nil
}

// fill puts the report's counts into the manifest's sums of the layer.
func (r *CurrentReport) fill(sums map[string]int64) {
	for _, line := range r.Tables {
		sums[line.Table+"_read"] = line.Read
		sums[line.Table] = line.Current
		sums[line.Table+"_superseded"] = line.Superseded
		sums[line.Table+"_cancelled"] = line.Cancelled
		sums[line.Table+"_given_way"] = line.GivenWay
	}
	sums["patient_changes"] = r.PatientChanges
	sums["bedside_without_issue"] = r.BedsideWithoutIssue
	sums["bedside_set_equal"] = r.BedsideSetEqual
	sums["bedside_emptied"] = r.BedsideEmptied
}

// reportOf is the report that a layer's sums were filled from.
func reportOf(sums map[string]int64) CurrentReport {
	r := CurrentReport{
		PatientChanges: sums["patient_changes"], BedsideWithoutIssue: sums["bedside_without_issue"],
		BedsideSetEqual: sums["bedside_set_equal"], BedsideEmptied: sums["bedside_emptied"],
	}
	for _, t := range contract.Feeds() {
		if read, found := sums[t.Name+"_read"]; found {
			r.Tables = append(r.Tables, CurrentTable{t.Name, read, sums[t.Name], sums[t.Name+"_superseded"], sums[t.Name+"_cancelled"], sums[t.Name+"_given_way"]})
		}
	}
	return r
}

// Lines says in a few lines what the layer holds and what became of the rest.
func (r CurrentReport) Lines() []string {
	if r.UpToDate {
		return []string{"current is up to date"}
	}
	var lines []string
	for _, t := range r.Tables {
		line := fmt.Sprintf("current %s: %d rows stored = %d current + %d superseded + %d cancelled", t.Table, t.Read, t.Current, t.Superseded, t.Cancelled)
		if t.GivenWay > 0 {
			line += fmt.Sprintf(" + %d ratios from times given way to ratios told", t.GivenWay)
		}
		lines = append(lines, line)
	}
	for _, note := range []struct {
		count int64
		says  string
	}{
		{r.PatientChanges, "issues told of more than one patient: the last word holds"},
		{r.BedsideWithoutIssue, "bedside records found no issue (bedside, joined is false)"},
		{r.BedsideSetEqual, "bedside times were up to 10 minutes too early, and set equal"},
		{r.BedsideEmptied, "bedside cells were over the limits of issues, and stay empty"},
	} {
		if note.count > 0 {
			lines = append(lines, fmt.Sprintf("note: %d %s", note.count, note.says))
		}
	}
	return lines
}
