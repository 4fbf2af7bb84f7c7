package audit

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/site"
	"thawline/internal/store"
	"thawline/queries"
)

// currentVersion names what Go does to the layer current beside the queries.
// Change it when the same readings and queries would give other files.
const currentVersion = "current 6"

// Current brings the layer current of a store open for writing up to date: it
// resolves what all readings tell, and replaces the layer as a whole. Where
// nothing that it is made from has changed, it writes nothing. Aliases that
// lead in a circle are an error, which names their rows.
func Current(ctx context.Context, st *store.Store, s *site.Site) (CurrentReport, error) {
	return current(ctx, st, clock{s.Zone, s.ZoneName}, engine.ThreadsBeside)
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
	// places are those of the readings in source order, by id.
	places map[string]int
	// groups are the queries by what they resolve; see grouped.
	groups      map[string][]*Query
	fingerprint string
	// kept are the files of the layer as it stands, old what it was made from;
	// made is what the new one is made from.
	kept      map[string]store.File
	old, made layerParts
	// temp is the folder of files that are not kept.
	temp string
	// renamed are the readings that may bear an alias which ends elsewhere than in
	// the layer as it stands.
	renamed map[string]bool

	// What follows is written by steps that work beside each other.
	mutex     sync.Mutex
	report    CurrentReport
	files     []store.File
	scratches int
}

// current brings the layer up to date. threads is the engine's.
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
	if b.temp, err = os.MkdirTemp(temp, "parts-"); err != nil {
		return CurrentReport{}, err
	}
	defer os.RemoveAll(b.temp)
	b.e, err = engine.Open(ctx, engine.Options{TempDir: temp, Threads: threads, AsWritten: true})
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
	// The sums are known only once the files are written: the manifest takes
	// them after stage has run.
	facts.Sums = map[string]int64{}
	// Rows pass through Go's memory and stay only a moment. Beside this, which is
	// never touched and so takes no memory, they are swept up a third as often.
	ballast := make([]byte, 128<<20)
	defer runtime.KeepAlive(ballast)
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
	b.groups = grouped(ordered)
	return string(macros), nil
}

// unitGroup names the queries of issues and bedside, which are resolved together.
const unitGroup = "units"

// grouped parts ordered queries by what they resolve: a feed by its name, issues
// and bedside as unitGroup, recorded by its own name.
func grouped(ordered []*Query) map[string][]*Query {
	groups, feeds := map[string][]*Query{}, map[string][]string{}
	for _, q := range ordered {
		var of []string
		for _, name := range q.Reads() {
			if feed, source := strings.CutPrefix(name, "source_"); source {
				of = append(of, feed)
			} else {
				of = append(of, feeds[name]...)
			}
		}
		// What reads the aliases' ends resolves another table.
		if len(slices.DeleteFunc(slices.Clone(of), isAliases)) > 0 {
			of = slices.DeleteFunc(of, isAliases)
		}
		slices.Sort(of)
		of = slices.Compact(of)
		feeds[q.Name] = of
		group := q.Name
		if len(of) == 1 {
			group = of[0]
		}
		if slices.Contains(of, contract.Issues.Name) || slices.Contains(of, contract.Bedside.Name) {
			group = unitGroup
		}
		groups[group] = append(groups[group], q)
	}
	return groups
}

func isAliases(feed string) bool { return feed == contract.Aliases.Name }

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
	for _, t := range wholeFeeds {
		if err := b.e.View(ctx, "source_"+t.Name, t.SourceColumns(), b.st.SourceFiles(t.Name), "reading_file"); err != nil {
			return err
		}
	}
	return nil
}

// readingColumns is the shape of the table readings: the source order of each
// stored file.
var readingColumns = []contract.Column{{Name: "reading_file"}, {Name: "reading_order", Kind: contract.Int}}

// write stages every file of the layer.
func (b *builder) write(ctx context.Context, at clock, dir string) error {
	if err := b.keptParts(at); err != nil {
		return err
	}
	if err := b.sources(ctx); err != nil {
		return err
	}
	if err := b.resolveAliases(ctx); err != nil {
		return err
	}
	// The longest first.
	var steps []step
	alone := func(name string, run func(context.Context, *engine.Engine) error) {
		steps = append(steps, step{name: name, run: func(ctx context.Context, e *engine.Engine) error { return inSchema(ctx, e, name, run) }})
	}
	alone(unitGroup, func(ctx context.Context, e *engine.Engine) error { return b.writeUnits(ctx, e, dir) })
	for _, t := range wholeFeeds {
		alone(t.Name, func(ctx context.Context, e *engine.Engine) error { return b.writeWhole(ctx, e, dir, t) })
	}
	for _, group := range timedFeeds() {
		alone(group[0].source, func(ctx context.Context, e *engine.Engine) error { return b.writeTimed(ctx, e, dir, group) })
	}
	alone(contract.Recorded.Name, func(ctx context.Context, e *engine.Engine) error { return b.writeRecorded(ctx, e, dir) })
	if err := runSteps(ctx, b.e, steps); err != nil {
		return err
	}
	if err := b.addUp(); err != nil {
		return err
	}
	return b.writeParts(dir)
}

// inSchema runs a step in a schema of its own: the tables that it makes hide
// those of the same name that a step beside it makes, and go with it.
func inSchema(ctx context.Context, e *engine.Engine, name string, run func(context.Context, *engine.Engine) error) error {
	schema := engine.Name("of " + name)
	err := e.Exec(ctx, "schema of "+name, "CREATE SCHEMA "+schema+"; SET search_path = "+engine.Quote(schema+",main"))
	if err == nil {
		err = run(ctx, e)
	}
	// The session goes on to other steps, also where this one failed.
	if reset := e.Exec(ctx, "schema of "+name, "SET search_path = 'main'; DROP SCHEMA IF EXISTS "+schema+" CASCADE"); err == nil {
		err = reset
	}
	return err
}

// addUp makes the report's lines, and holds the sums of the layer's parts
// against the rows that the readings hold.
func (b *builder) addUp() error {
	for _, t := range contract.Feeds() {
		line := CurrentTable{Table: t.Name, Read: b.rowsRead(t.Name)}
		if line.Read < 0 {
			continue
		}
		b.made.Whole[t.Name].addTo(&line)
		for name, parts := range b.made.Files {
			for _, p := range parts {
				if name == t.Name || strings.HasPrefix(name, t.Name+"/") {
					p.addTo(&line)
				}
			}
		}
		for _, parts := range b.made.Units {
			for i := range parts {
				if p := parts[i].rows(t); p != nil {
					p.addTo(&line)
				}
			}
		}
		if gone := line.Superseded + line.Cancelled + line.GivenWay; line.Read != line.Current+gone {
			return fmt.Errorf("the sums of %s do not add up: the readings hold %d rows, but %d are current + %d superseded + %d cancelled + %d given way: please report this as a defect of thawline",
				t.Name, line.Read, line.Current, line.Superseded, line.Cancelled, line.GivenWay)
		}
		b.report.Tables = append(b.report.Tables, line)
	}
	for _, parts := range b.made.Units {
		for _, p := range parts {
			b.report.PatientChanges += p.PatientChanges
			b.report.DiscardedApart += p.DiscardedApart
			b.report.BedsideWithoutIssue += p.BedsideWithoutIssue
			b.report.BedsideSetEqual += p.BedsideSetEqual
			b.report.BedsideEmptied += p.BedsideEmptied
		}
	}
	return nil
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
