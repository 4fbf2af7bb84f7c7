package audit

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/store"
)

// batchRows is about how many rows are resolved at once: with their working
// space those of two sessions stay well within the engine's memory.
const batchRows = 500_000

// timedFeed is a feed, or a test of labs, whose key has the row's time in it: all
// that decides on a row bears the same time, so that any stretch of time stands
// alone.
type timedFeed struct {
	*contract.Table
	// source is the name of its files in readings, is the condition on a row of the
	// table that it is of the feed, as SQL.
	source, is string
	// file names the file of the layer that holds a dekad.
	file func(dekad) string
	// instant is the column of the row's time, order that of the rows in a part.
	instant, order string
	// views are the queries that are not worth a table.
	views []string
}

// timedPart is one part of a file of a timed feed.
type timedPart struct {
	span
	partRows
}

// timedFeeds lists them, the longest first, in groups of which each is resolved
// by one session: the queries have their price, also where they find little to do.
func timedFeeds() [][]timedFeed {
	var all [][]timedFeed
	for i, test := range contract.Tests {
		if i%4 == 0 {
			all = append(all, nil)
		}
		last := &all[len(all)-1]
		*last = append(*last, timedFeed{contract.Labs, "labs-" + test, "test = " + engine.Quote(test), func(m dekad) string { return fmt.Sprintf("labs/%s/%04d", test, m.year()) },
			"collected_at", "patient_id, collected_at, point_of_care", []string{"told_labs", "labs"}})
	}
	for _, one := range []timedFeed{
		{Table: contract.Measures, instant: "measured_at", order: "patient_id, kind, measured_at, method NULLS FIRST"},
		{Table: contract.Medicines, instant: "given_at", order: "patient_id, medicine, given_at"},
		{Table: contract.Events, instant: "at", order: `patient_id, kind, "at", detail NULLS FIRST`},
	} {
		one.source, one.is, one.file = one.Name, "true", func(dekad) string { return one.Name }
		all = append(all, []timedFeed{one})
	}
	return all
}

// timedFile is one file of a timed feed that is being made.
type timedFile struct {
	name  string
	parts []timedPart
	// pieces are those of its parts: of the file as it stands, or written anew.
	pieces []store.Piece
	stale  []bool
}

// timedPlan is a feed whose files are being made.
type timedPlan struct {
	timedFeed
	tells tellings
	files []*timedFile
}

// target is a part to be made anew, with about how many rows it is told of.
type target struct {
	*timedFile
	of    *timedPlan
	place int
	rows  int64
}

func (t target) span() span { return t.parts[t.place].span }

// writeTimed makes anew the parts of a group of feeds whose rows may have changed,
// and takes the others over from the layer as it stands.
func (b *builder) writeTimed(ctx context.Context, e *engine.Engine, dir string, group []timedFeed) error {
	var plans []*timedPlan
	var stale []target
	for _, f := range group {
		plan, targets, err := b.planFeed(ctx, e, f)
		if err != nil {
			return err
		}
		plans = append(plans, plan)
		stale = append(stale, targets...)
	}
	for len(stale) > 0 {
		n, _ := batch(stale, batchRows, func(t target) int64 { return t.rows })
		if err := b.resolveTimed(ctx, e, stale[:n]); err != nil {
			return err
		}
		stale = stale[n:]
	}
	for _, plan := range plans {
		for _, file := range plan.files {
			var err error
			if slices.Contains(file.stale, true) || !slices.Equal(file.parts, b.old.Files[file.name]) {
				err = b.join(dir, plan.Table, file.name, file.pieces)
			} else {
				b.keep(file.name)
			}
			if err != nil {
				return err
			}
			b.mutex.Lock()
			b.made.Files[file.name] = file.parts
			b.mutex.Unlock()
		}
	}
	return nil
}

// planFeed parts the files of a feed, and lists the parts to be made anew.
func (b *builder) planFeed(ctx context.Context, e *engine.Engine, f timedFeed) (*timedPlan, []target, error) {
	tells, err := b.tellDekads(ctx, e, f.source, engine.Name(f.instant))
	if err != nil {
		return nil, nil, err
	}
	told := map[string]map[dekad]int64{}
	for _, dekads := range tells {
		for m, rows := range dekads {
			name := f.file(m)
			if told[name] == nil {
				told[name] = map[dekad]int64{}
			}
			told[name][m] += rows
		}
	}
	renamed, err := b.dekadsRenamed(ctx, e, f)
	if err != nil {
		return nil, nil, err
	}
	plan := &timedPlan{timedFeed: f, tells: tells}
	var stale []target
	for _, name := range slices.Sorted(maps.Keys(told)) {
		file := b.planTimed(f, name, told[name], tells, renamed)
		plan.files = append(plan.files, file)
		for i, p := range file.parts {
			if !file.stale[i] {
				continue
			}
			one := target{file, plan, i, 0}
			for m, rows := range told[name] {
				if p.holds(m) {
					one.rows += rows
				}
			}
			stale = append(stale, one)
		}
	}
	return plan, stale, nil
}

// planTimed parts a file, and finds which parts of it stand as they are: those of
// the same readings, in which no row bears an alias that ends elsewhere now.
func (b *builder) planTimed(f timedFeed, name string, told map[dekad]int64, tells tellings, renamed map[dekad]bool) *timedFile {
	file := &timedFile{name: name}
	before := b.old.told(f.source)
	stands := map[span]store.Piece{}
	rows := map[span]partRows{}
	kept, found := b.kept[name]
	place := 0
	for _, p := range b.old.Files[name] {
		stands[p.span] = store.Piece{Path: kept.Path, First: place, Groups: p.Groups}
		rows[p.span] = p.partRows
		place += p.Groups
	}
	for _, s := range spansOf(told) {
		piece, known := stands[s]
		stale := !known || (!found && piece.Groups > 0) ||
			!slices.Equal(before.in(b.old.Readings[f.Name], s), tells.in(b.made.Readings[f.Name], s))
		for m := s.First; m <= s.Last; m++ {
			stale = stale || renamed[m]
		}
		stale = stale && !(known && overlooked(name))
		file.parts = append(file.parts, timedPart{s, rows[s]})
		file.pieces = append(file.pieces, piece)
		file.stale = append(file.stale, stale)
	}
	// What is copied gets a hash of its own, which would hide damage.
	if found && slices.Contains(file.stale, true) && slices.Contains(file.stale, false) && !whole(kept) {
		for i := range file.stale {
			file.stale[i] = true
		}
	}
	return file
}

// dekadsRenamed lists the dekads in which a row bears an alias that ends elsewhere
// than in the layer as it stands.
func (b *builder) dekadsRenamed(ctx context.Context, e *engine.Engine, f timedFeed) (map[dekad]bool, error) {
	files := b.filesRenamed(f.source)
	if len(files) == 0 {
		return nil, nil
	}
	_, rows, err := e.Rows(ctx, "aliases of "+f.source, fmt.Sprintf("SELECT DISTINCT CAST(%s AS DATE) AS day FROM %s WHERE %s", engine.Name(f.instant), readParquet(files), bears))
	dekads := map[dekad]bool{}
	for _, row := range rows {
		dekads[dekadOf(row[0].(time.Time))] = true
	}
	return dekads, err
}

// resolveTimed resolves the rows of some parts of feeds of one table, feed by feed
// in order of time, and writes them into a file from which their own are copied.
func (b *builder) resolveTimed(ctx context.Context, e *engine.Engine, targets []target) error {
	f := targets[0].of.timedFeed
	source, part, err := b.sourceTimed(ctx, e, targets)
	if err != nil {
		return err
	}
	err = e.Exec(ctx, "source_"+f.Name, fmt.Sprintf("CREATE OR REPLACE VIEW %s AS %s", engine.Name("source_"+f.Name), source))
	if err != nil {
		return err
	}
	if err := Run(ctx, e, b.groups[f.Name], f.views...); err != nil {
		return err
	}
	gone, err := b.gone(ctx, e, f.Table, part, "true")
	if err != nil {
		return err
	}
	for i, t := range targets {
		t.parts[t.place].partRows = gone[int64(i)]
		t.pieces[t.place] = store.Piece{}
	}
	to, err := b.newScratch(f.Name, f.Table)
	if err != nil {
		return err
	}
	defer to.w.Abort()
	rows := e.Parts(ctx, "current "+f.Name, fmt.Sprintf("SELECT *, %s AS part FROM %s ORDER BY part, %s", part, engine.Name(f.Name), f.order))
	rowsOf := func(no int64) *partRows { return &targets[no].parts[targets[no].place].partRows }
	err = to.write(rows, rowsOf, func(no int64, piece store.Piece) {
		targets[no].pieces[targets[no].place] = piece
		rowsOf(no).Groups = piece.Groups
	})
	if err != nil {
		return err
	}
	return to.w.CloseScratch()
}

// sourceTimed gives, as SQL, all that the readings tell in the spans of some parts,
// and the place among those of the part in which a row lies.
func (b *builder) sourceTimed(ctx context.Context, e *engine.Engine, targets []target) (source, part string, err error) {
	var sources, places []string
	for from := 0; from < len(targets); {
		of := targets[from].of
		var spans []span
		for i := from; i < len(targets) && targets[i].of == of; i++ {
			spans = append(spans, targets[i].span())
		}
		var files, conditions []string
		for _, s := range merged(spans) {
			conditions = append(conditions, s.contains(engine.Name(of.instant)))
		}
		for _, r := range b.readings {
			path := r.FilePath(of.source)
			if path != "" && slices.ContainsFunc(spans, func(s span) bool { return of.tells.tells(r.ID, s) }) {
				files = append(files, path)
			}
		}
		if err := e.View(ctx, "all_"+of.source, of.SourceColumns(), files, "reading_file"); err != nil {
			return "", "", err
		}
		sources = append(sources, fmt.Sprintf("SELECT * FROM %s WHERE %s", engine.Name("all_"+of.source), strings.Join(conditions, " OR ")))
		places = append(places, fmt.Sprintf("WHEN %s THEN %d + %s", of.is, from, partOf(engine.Name(of.instant), spans)))
		from += len(spans)
	}
	return union(sources), "CASE " + strings.Join(places, " ") + " END", nil
}
