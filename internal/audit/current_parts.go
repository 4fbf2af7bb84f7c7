package audit

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/store"
)

// partsName is the file of the layer that tells of which parts each file is made,
// so that a month's export makes anew only those that it touches.
const partsName = "parts.json"

// leastRows is how many rows a part is told of at least, but for the last of its
// file: each part begins a row group, and readers pay for each of those. Tests
// make it less.
var leastRows int64 = 1 << 14

// overlooked says that a part or a table is taken over as it stands though it has
// changed. Tests set it, to see that they would notice.
var overlooked = func(file string) bool { return false }

// dekad is a third of a calendar month in UTC, counted on from the year 0: its
// days to the 10th, to the 20th, and the others.
type dekad int64

func dekadOf(at time.Time) dekad {
	return dekad((at.Year()*12+int(at.Month())-1)*3 + min((at.Day()-1)/10, 2))
}

func (d dekad) year() int64 { return int64(d) / 36 }

// day is the first day of the dekad, as 2026-03-11.
func (d dekad) day() string {
	return fmt.Sprintf("%04d-%02d-%02d", d/36, d/3%12+1, d%3*10+1)
}

// begins is the first instant of the dekad, as SQL.
func (d dekad) begins() string { return "TIMESTAMP '" + d.day() + " 00:00:00'" }

// MarshalText writes the dekad as its first day.
func (d dekad) MarshalText() ([]byte, error) { return []byte(d.day()), nil }

// UnmarshalText reads what MarshalText writes.
func (d *dekad) UnmarshalText(text []byte) error {
	var year, month, day int
	if _, err := fmt.Sscanf(string(text), "%d-%d-%d", &year, &month, &day); err != nil {
		return fmt.Errorf("day %q: %w", text, err)
	}
	*d = dekad((year*12+month-1)*3 + (day-1)/10)
	return nil
}

// span is a stretch of dekads, both ends in it.
type span struct {
	First dekad `json:"first"`
	Last  dekad `json:"last"`
}

func (s span) holds(m dekad) bool { return s.First <= m && m <= s.Last }

// merged joins spans that follow on one another.
func merged(spans []span) []span {
	var some []span
	for _, s := range spans {
		if last := len(some) - 1; last >= 0 && some[last].Last+1 == s.First {
			some[last].Last = s.Last
		} else {
			some = append(some, s)
		}
	}
	return some
}

// contains is the condition that an instant lies in the span, as SQL.
func (s span) contains(instant string) string {
	return fmt.Sprintf("(%s >= %s AND %s < %s)", instant, s.First.begins(), instant, (s.Last + 1).begins())
}

// spansOf cuts the dekads of one file, each with its rows, into the spans of its
// parts. It hangs on the readings alone, and not on what of them is true now.
func spansOf(told map[dekad]int64) []span {
	var dekads []dekad
	for m := range told {
		dekads = append(dekads, m)
	}
	slices.Sort(dekads)
	var spans []span
	rows := int64(0)
	for _, m := range dekads {
		if rows == 0 {
			spans = append(spans, span{First: m})
		}
		spans[len(spans)-1].Last = m
		if rows += told[m]; rows >= leastRows {
			rows = 0
		}
	}
	return spans
}

// partOf is the place among ordered spans of the one in which an instant lies, or
// null, as SQL: a tree of comparisons.
func partOf(instant string, spans []span) string {
	type edge struct {
		from dekad
		part string
	}
	edges := []edge{{0, "NULL"}}
	for i, s := range spans {
		if last := &edges[len(edges)-1]; last.from == s.First {
			last.part = fmt.Sprint(i)
		} else {
			edges = append(edges, edge{s.First, fmt.Sprint(i)})
		}
		edges = append(edges, edge{s.Last + 1, "NULL"})
	}
	var tree func(edges []edge) string
	tree = func(edges []edge) string {
		if len(edges) == 1 {
			return edges[0].part
		}
		half := len(edges) / 2
		return fmt.Sprintf("CASE WHEN %s < %s THEN %s ELSE %s END", instant, edges[half].from.begins(), tree(edges[:half]), tree(edges[half:]))
	}
	return "CAST(" + tree(edges) + " AS BIGINT)"
}

// layerParts is what parts.json holds. It follows from the readings: a store
// filled month by month has the same as one filled at once.
type layerParts struct {
	// Made is a hash over what all parts hang on beside their rows: the queries,
	// the program, the clock.
	Made string `json:"made"`
	// Readings are the ids of each table's readings in source order.
	Readings map[string][]string `json:"readings"`
	// Told counts the rows of each dekad, by reading and stored file.
	Told map[string]map[string]map[dekad]int64 `json:"told"`
	// Files are the parts of each file whose rows stand alone in time, in order.
	Files map[string][]timedPart `json:"files"`
	// Units are the parts of issues and bedside, by the name of the year.
	Units map[string][]unitPart `json:"units"`
	// Whole tells of the tables that are made as a whole.
	Whole map[string]partRows `json:"whole"`
}

// tellings are the rows of each dekad by the id of a reading, for the readings'
// files of one name.
type tellings map[string]map[dekad]int64

// tells says that a reading holds a row of a span.
func (t tellings) tells(id string, s span) bool {
	for m := range t[id] {
		if s.holds(m) {
			return true
		}
	}
	return false
}

// in lists those of some readings that hold a row of a span.
func (t tellings) in(ids []string, s span) []string {
	var some []string
	for _, id := range ids {
		if t.tells(id, s) {
			some = append(some, id)
		}
	}
	return some
}

// told gives what the layer as it stands knew of the files of that name.
func (p *layerParts) told(source string) tellings {
	told := tellings{}
	for id, sources := range p.Told {
		if dekads, found := sources[source]; found {
			told[id] = dekads
		}
	}
	return told
}

// tellDekads counts the rows of each reading's file of that name by the dekad of
// an instant, given as SQL. A reading never changes: what the layer as it stands
// knew of it still holds.
func (b *builder) tellDekads(ctx context.Context, e *engine.Engine, source, instant string) (tellings, error) {
	var ids, queries []string
	told := tellings{}
	for _, r := range b.readings {
		path := r.FilePath(source)
		if path == "" {
			continue
		}
		if before, found := b.old.Told[r.ID][source]; found {
			told[r.ID] = before
			continue
		}
		told[r.ID] = map[dekad]int64{}
		queries = append(queries, fmt.Sprintf("SELECT %d AS place, CAST(%s AS DATE) AS day FROM read_parquet(%s)", len(ids), instant, engine.Quote(path)))
		ids = append(ids, r.ID)
	}
	for len(queries) > 0 {
		n := min(len(queries), 32)
		_, rows, err := e.Rows(ctx, "dekads of "+source, "SELECT place, day, count(*) FROM ("+strings.Join(queries[:n], " UNION ALL ")+") GROUP BY ALL")
		if err != nil {
			return nil, err
		}
		for _, row := range rows {
			told[ids[row[0].(int64)]][dekadOf(row[1].(time.Time))] += row[2].(int64)
		}
		queries = queries[n:]
	}
	b.mutex.Lock()
	defer b.mutex.Unlock()
	for id, dekads := range told {
		if b.made.Told[id] == nil {
			b.made.Told[id] = map[string]map[dekad]int64{}
		}
		b.made.Told[id][source] = dekads
	}
	return told, nil
}

// partRows tells what became of the stored rows of one part of a table.
type partRows struct {
	Current    int64 `json:"current"`
	Superseded int64 `json:"superseded,omitempty"`
	Cancelled  int64 `json:"cancelled,omitempty"`
	GivenWay   int64 `json:"given_way,omitempty"`
	// Groups counts the row groups of the current rows.
	Groups int `json:"groups,omitempty"`
}

// add counts rows of one standing. Current rows are counted as they are written.
func (p *partRows) add(standing, rows any) {
	n, _ := rows.(int64)
	switch standing {
	case "superseded":
		p.Superseded += n
	case "cancelled":
		p.Cancelled += n
	case "given way":
		p.GivenWay += n
	}
}

// addGone adds the rows of another that did not stay.
func (p *partRows) addGone(other partRows) {
	p.Superseded += other.Superseded
	p.Cancelled += other.Cancelled
	p.GivenWay += other.GivenWay
}

// addTo adds the rows to the line of their table.
func (p partRows) addTo(line *CurrentTable) {
	line.Current += p.Current
	line.Superseded += p.Superseded
	line.Cancelled += p.Cancelled
	line.GivenWay += p.GivenWay
}

// keptParts reads what the layer as it stands was made from, and its files by
// name. Where that is not to be used, nothing is known of it, and all is made anew.
func (b *builder) keptParts(at clock) error {
	b.made = layerParts{
		Made: store.SHA256([]byte(b.fingerprint + "\x00" + at.name)), Readings: map[string][]string{}, Told: map[string]map[string]map[dekad]int64{},
		Files: map[string][]timedPart{}, Units: map[string][]unitPart{}, Whole: map[string]partRows{},
	}
	b.places = map[string]int{}
	for i, r := range b.readings {
		b.made.Readings[r.Table] = append(b.made.Readings[r.Table], r.ID)
		b.places[r.ID] = i
	}
	b.kept = map[string]store.File{}
	for _, f := range b.st.Layer("current") {
		b.kept[f.Name] = f
	}
	f, found := b.kept[partsName]
	delete(b.kept, partsName)
	if !found {
		return nil
	}
	text, err := os.ReadFile(f.Path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s: %w", f.Path, err)
	}
	if err != nil || store.SHA256(text) != f.SHA256 {
		return nil
	}
	// What an older program wrote has another shape, or another Made.
	var old layerParts
	if json.Unmarshal(text, &old) == nil && old.Made == b.made.Made {
		b.old = old
	}
	return nil
}

// same says that two layers' parts were made of the same readings of tables.
func (b *builder) same(tables ...string) bool {
	return b.old.Made != "" && !slices.ContainsFunc(tables, func(t string) bool { return !slices.Equal(b.old.Readings[t], b.made.Readings[t]) })
}

// whole says that a file of the layer as it stands holds what was written: what
// is copied out of it gets a hash of its own, which would hide damage.
func whole(f store.File) bool {
	hash, err := store.HashFile(f.Path)
	return err == nil && hash == f.SHA256
}

// keep takes a file over from the layer as it stands, where it has one of that name.
func (b *builder) keep(name string) {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	if f, found := b.kept[name]; found {
		b.files = append(b.files, f)
		b.report.Kept++
	}
}

// put takes a file that was written into the layer.
func (b *builder) put(f store.File) {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	b.files = append(b.files, f)
	b.report.Written++
}

// writeParts writes parts.json.
func (b *builder) writeParts(dir string) error {
	text, err := json.Marshal(b.made)
	if err != nil {
		return err
	}
	path := filepath.Join(dir, partsName)
	if err := os.WriteFile(path, append(text, '\n'), 0o640); err != nil {
		return err
	}
	f, err := store.Describe(path)
	if err != nil {
		return err
	}
	b.files = append(b.files, f)
	return nil
}

// join writes a file of the layer from its parts, unless it has no row.
func (b *builder) join(dir string, t *contract.Table, name string, pieces []store.Piece) error {
	pieces = slices.DeleteFunc(slices.Clone(pieces), func(p store.Piece) bool { return p.Groups == 0 })
	if len(pieces) == 0 {
		return nil
	}
	f, err := store.Join(filepath.Join(dir, filepath.FromSlash(name)+".parquet"), t, t.Columns, pieces)
	if err != nil {
		return err
	}
	b.put(f)
	return nil
}

// scratch is a file that is not kept, from which parts are copied.
type scratch struct {
	w      *store.Writer
	path   string
	groups int
}

// newScratch begins one in the folder of the run.
func (b *builder) newScratch(name string, t *contract.Table) (*scratch, error) {
	b.mutex.Lock()
	b.scratches++
	path := filepath.Join(b.temp, fmt.Sprintf("%d-%s.parquet", b.scratches, strings.ReplaceAll(name, "/", "-")))
	b.mutex.Unlock()
	w, err := store.NewWriter(path, t, t.Columns, standTogether(t)...)
	if err != nil {
		return nil, err
	}
	return &scratch{w: w, path: path}, nil
}

// write writes the rows of parts and counts them as rowsOf finds them; ended gets
// the piece of each part, or is nil where the last one is left open for further rows.
func (s *scratch) write(parts iter.Seq2[engine.Numbered, error], rowsOf func(no int64) *partRows, ended func(no int64, piece store.Piece)) error {
	at := int64(-1)
	cut := func() error {
		if at < 0 || ended == nil {
			return nil
		}
		piece, err := s.cut()
		ended(at, piece)
		return err
	}
	for p, err := range parts {
		if err == nil && p.No != at {
			err = cut()
			at = p.No
		}
		if err == nil {
			rowsOf(p.No).Current += p.NumRows()
			err = s.w.Write(p.Record)
		}
		if err != nil {
			return err
		}
	}
	return cut()
}

// batch gives how many of the first parts have about limit rows together, at least
// one, and how many rows they have.
func batch[T any](parts []T, limit int64, rowsOf func(T) int64) (n int, rows int64) {
	for n < len(parts) && (n == 0 || rows+rowsOf(parts[n]) <= limit) {
		rows += rowsOf(parts[n])
		n++
	}
	return n, rows
}

// cut ends a part and gives it as a piece.
func (s *scratch) cut() (store.Piece, error) {
	groups, err := s.w.Cut()
	piece := store.Piece{Path: s.path, First: s.groups, Groups: groups - s.groups}
	s.groups = groups
	return piece, err
}
