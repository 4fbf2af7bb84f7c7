package ingest

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"path/filepath"
	"runtime"
	"slices"
	"sort"

	"github.com/apache/arrow/go/v17/arrow"
	"golang.org/x/sync/errgroup"

	"thawline/internal/contract"
	"thawline/internal/normalise"
	"thawline/internal/read"
	"thawline/internal/store"
)

// piece is a segment on its way through the workers.
type piece struct {
	segment read.Stretch
	done    chan struct{}
	output  *normalise.Output
	err     error
}

// stage reads src into Parquet files in dir.
func (r *run) stage(ctx context.Context, src source, dir string) (store.Reading, error) {
	files := newFileSet(dir, src.feed.Table)
	defer func() { files.abort() }()
	reading, err := r.readFile(ctx, src, func(o *normalise.Output) error { return files.write(o) }, func() {
		files.abort()
		files = newFileSet(dir, src.feed.Table)
	})
	if err != nil {
		return reading, err
	}
	if reading.Files, err = files.close(); err != nil {
		return reading, r.placed(src, err)
	}
	reading.Told = files.told
	return reading, nil
}

// readFile reads src and hands its normalised rows to use. Workers parse and
// normalise segments side by side; use gets their results in the order of the
// file, so that the number of workers cannot be seen in it. The reading comes
// back with its identity and sums, without files. Where the whole file shows that
// points of some cells are in doubt, which no row could know, it is read a second
// time: again is called before, and what use was given until then is void.
func (r *run) readFile(ctx context.Context, src source, use func(*normalise.Output) error, again func()) (store.Reading, error) {
	began := r.done
	reading, doubt, err := r.readOnce(ctx, src, 0, use)
	if err != nil || doubt == 0 {
		return reading, err
	}
	r.done = began
	again()
	reading, _, err = r.readOnce(ctx, src, doubt, use)
	return reading, err
}

// readOnce is one reading of readFile; commas are the columns in which commas part
// decimals, as an earlier one has found, and doubt those that it finds in doubt.
func (r *run) readOnce(ctx context.Context, src source, commas normalise.Columns, use func(*normalise.Output) error) (store.Reading, normalise.Columns, error) {
	reading := store.Reading{Contract: contract.Version, Table: src.feed.Table.Name, File: src.base, Path: r.relative(src.path), Date: src.date, Map: src.mapHash}
	options := read.Options{Table: src.feed.Table, Encoding: src.feed.Encoding, Sheet: src.feed.Sheet, Zone: r.site.Zone,
		PatientIDType: src.feed.PatientIDType, PatientIDAuthority: src.feed.PatientIDAuthority, Fields: src.feed.Fields, Decimal: marks[src.feed.Decimal], HeaderRow: src.feed.HeaderRow}
	if src.feed.Delimiter != "" {
		options.Delimiter = src.feed.Delimiter[0]
	}
	export, err := read.Open(src.path, options)
	if err != nil {
		return reading, 0, r.placed(src, err)
	}
	defer export.Close()
	var counts normalise.Counts
	if export.Names() != nil {
		if counts, err = r.readRows(ctx, src, export, commas, use); err != nil {
			return reading, 0, err
		}
		if doubt := counts.InDoubt(); doubt != 0 && commas == 0 {
			return reading, doubt, nil
		}
		if n := counts.Counted["times_after_the_month"]; n > 0 {
			r.note("%s: %d times on the day after the month in its name, taken: such a file is made once the month is over", src.base, n)
		}
		for _, note := range export.Notes() {
			r.note("%s: %s", src.base, note)
		}
	}
	if reading.SHA256, reading.Bytes, err = export.Sum(); err != nil {
		return reading, 0, r.placed(src, err)
	}
	reading.ID = readingID(src, reading.SHA256)
	reading.Read, reading.Accepted, reading.Rejected, reading.SetAside = counts.Read, counts.Accepted, counts.Rejected, counts.SetAside
	reading.Counted, reading.Unmapped, reading.Derived = counts.Counted, counts.Unmapped, counts.Counted["derived_ratios"]
	reading.SharedCodes = counts.Shared()
	if export.Names() != nil {
		reading.SetAsideCodes = map[string]store.CodeCount{}
	}
	for code, c := range counts.SetAsideCodes {
		reading.SetAsideCodes[code] = store.CodeCount{Count: c.Count, ExampleUnit: c.ExampleUnit}
	}
	return reading, 0, nil
}

// marks gives the mark of decimals by its name in site.yaml.
var marks = map[string]byte{"comma": ',', "point": '.'}

// readRows reads the rows of a file that is not blank.
func (r *run) readRows(ctx context.Context, src source, export *read.File, commas normalise.Columns, use func(*normalise.Output) error) (counts normalise.Counts, err error) {
	info := normalise.FileInfo{Name: src.base, Codes: export.Codes(), Commas: commas}
	if src.date != "" {
		made, err := src.feed.MadeBy(src.base)
		if err == nil {
			info.Date, err = normalise.EndOfDay(r.site.Zone, made)
		}
		if err == nil {
			// Later than Date for none but a name with a month alone.
			info.Named, err = normalise.EndOfDay(r.site.Zone, src.date)
		}
		if err != nil {
			return counts, fmt.Errorf("%s: %w", src.base, err)
		}
	}
	mapper, err := normalise.New(r.site, src.feed, export.Names(), info)
	if err != nil {
		return counts, err // It names the file.
	}
	began := r.done
	err = r.eachPiece(ctx, export, mapper, func(p *piece) error {
		counts.Merge(p.output.Counts)
		r.done = began + export.Done()
		r.tell(src)
		return use(p.output)
	})
	if err != nil && ctx.Err() == nil {
		err = r.placed(src, err)
	}
	return counts, err
}

// placed names the file in an error that does not.
func (r *run) placed(src source, err error) error {
	var place *read.Error
	if errors.As(err, &place) {
		return err
	}
	return fmt.Errorf("%s: %w", r.relative(src.path), err)
}

// ahead is how many segments a worker may be ahead of use, which is busy now and
// then for as long as it takes to encode a whole row group. Segments are small.
const ahead = 16

// eachPiece calls use with the normalised segments of export in order. At most
// ahead times as many segments as workers are in memory at once, and a few more.
func (r *run) eachPiece(ctx context.Context, export read.Export, mapper *normalise.Mapper, use func(*piece) error) error {
	ctx, stop := context.WithCancel(ctx)
	workers := runtime.GOMAXPROCS(0)
	work, order := make(chan *piece), make(chan *piece, ahead*workers)
	go func() {
		defer close(order)
		defer close(work)
		for segment, err := range export.Stretches() {
			p := &piece{segment: segment, err: err, done: make(chan struct{})}
			if err != nil {
				close(p.done)
			}
			select {
			case order <- p:
			case <-ctx.Done():
				close1(p, err)
				return
			}
			if err != nil {
				return
			}
			select {
			case work <- p:
			case <-ctx.Done():
				close(p.done)
				return
			}
		}
	}()
	for range workers {
		go func() {
			for p := range work {
				p.output, p.err = normalised(mapper, p.segment)
				close(p.done)
			}
		}()
	}
	// Nothing may run on once the export is closed: every piece is waited for.
	var failed error
	for p := range order {
		<-p.done
		if failed == nil {
			failed = errors.Join(ctx.Err(), p.err)
		}
		if failed == nil {
			failed = use(p)
		}
		if p.output != nil {
			p.output.Release()
		}
		if failed != nil {
			stop()
		}
	}
	stop()
	return failed
}

// close1 ends a piece that nobody will take, unless an error has ended it.
func close1(p *piece, err error) {
	if err == nil {
		close(p.done)
	}
}

// normalised parses and normalises one segment.
func normalised(mapper *normalise.Mapper, segment read.Stretch) (*normalise.Output, error) {
	batch := mapper.NewBatch()
	err := segment.Rows(func(row read.Row) bool {
		switch {
		case row.Fault != "" && row.Cells != nil:
			batch.AddFaulty(row.Place, row.Cells, row.Fault)
		case row.Fault != "":
			batch.Reject(row.Place, row.Fault)
		case row.Other != "":
			batch.SetAside(row.Other)
		default:
			batch.Add(row.Place, row.Cells)
		}
		return true
	})
	output := batch.Finish()
	segment.Release()
	return output, err
}

// fileSet is the reading's files, opened as their first rows come.
type fileSet struct {
	dir     string
	table   *contract.Table
	writers map[string]*store.Writer
	told    *store.Told
}

func newFileSet(dir string, table *contract.Table) *fileSet {
	return &fileSet{dir: dir, table: table, writers: map[string]*store.Writer{}, told: &store.Told{}}
}

func (s *fileSet) write(o *normalise.Output) error {
	names := make([]string, 0, len(o.Records))
	for name := range o.Records {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		if o.Records[name] != nil {
			s.told.Add(o.Records[name])
		}
		if err := s.put(s.fileName(name), s.table, s.table.SourceColumns(), o.Records[name]); err != nil {
			return err
		}
	}
	return s.put("problems", contract.Problems, contract.Problems.Columns, o.Problems)
}

// fileName is the stored file's name for records of a table, or of a test.
func (s *fileSet) fileName(name string) string {
	if s.table == contract.Labs && slices.Contains(contract.Tests, name) {
		return "labs-" + name
	}
	return name
}

func (s *fileSet) put(name string, table *contract.Table, columns []contract.Column, record arrow.Record) error {
	if record == nil || record.NumRows() == 0 {
		return nil
	}
	w := s.writers[name]
	if w == nil {
		var err error
		if w, err = store.NewWriter(filepath.Join(s.dir, name+".parquet"), table, columns); err != nil {
			return err
		}
		s.writers[name] = w
	}
	return w.Write(record)
}

// close ends the files, several at once: each has rows left to encode.
func (s *fileSet) close() ([]store.File, error) {
	names := slices.Sorted(maps.Keys(s.writers))
	files := make([]store.File, len(names))
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for i, name := range names {
		group.Go(func() (err error) {
			files[i], err = s.writers[name].Close()
			files[i].Name = name
			return err
		})
	}
	return files, group.Wait()
}

// abort gives up what close has not finished.
func (s *fileSet) abort() {
	for _, w := range s.writers {
		w.Abort()
	}
}
