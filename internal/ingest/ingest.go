// Package ingest turns the files that a site's feeds name into readings of the
// store: one immutable reading a file, or nothing where the file is at fault.
package ingest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sort"
	"strings"
	"syscall"

	"thawline/internal/contract"
	"thawline/internal/site"
	"thawline/internal/store"
)

// Progress is told which file is being read, and how many of all bytes are
// done. It may be nil.
type Progress func(name string, done, total int64)

// Report says what Run did.
type Report struct {
	Files []FileReport `json:"files"`
	// Notes are sentences about what is no fault but may be an oversight.
	Notes []string `json:"notes"`
}

// FileReport holds the sums of one file that is in the store now.
type FileReport struct {
	Table string `json:"table"`
	File  string `json:"file"`
	// Reading is the id of what the store keeps of it.
	Reading string `json:"reading"`
	// Unchanged says that the file was there already, read by the same map.
	Unchanged     bool                       `json:"unchanged"`
	Read          int64                      `json:"read"`
	Accepted      int64                      `json:"accepted"`
	Rejected      int64                      `json:"rejected"`
	SetAside      int64                      `json:"set_aside"`
	SetAsideCodes map[string]store.CodeCount `json:"set_aside_codes,omitempty"`
	Unmapped      map[string]int64           `json:"unmapped,omitempty"`
	Counted       map[string]int64           `json:"counted,omitempty"`
}

// configurationError is a fault of site.yaml that shows only once files are seen.
type configurationError struct{ error }

// IsConfiguration reports whether err holds a fault that site.yaml must mend.
func IsConfiguration(err error) bool {
	var fault configurationError
	return errors.As(err, &fault)
}

// source is one file of one feed.
type source struct {
	feed *site.Feed
	path string
	base string
	date string
	size int64
	// mapHash is the SHA-256 of the feed's effective map.
	mapHash string
}

// run is one call of Run.
type run struct {
	site     *site.Site
	store    *store.Store
	progress Progress
	report   Report
	// done and total count the bytes of all files.
	done, total int64
	// maps holds the hashes of the maps by which a file is to be read, by table
	// and base name: several for a workbook of several sheets.
	maps map[string][]string
	// hashes gives the hash of a file that the store may know, by path.
	hashes map[string]func() (string, error)
	// tableMaps are the maps by which any file of a table is to be read.
	tableMaps map[[2]string]bool
	// inbox are the files of the inbox that were hashed, by table, base name and hash.
	inbox map[[3]string]bool
	// lie are the exports whose reading is in the store and whose bytes lie in
	// their place, by table and base name: the hashes of their bytes.
	lie map[[2]string]map[string]bool
}

// Run reads every file of every feed into st: a file that is there already
// changes nothing, one that is at fault leaves the store as it was, and the
// others are taken. The error joins the faults of all files; the report holds
// the sums of those without.
func Run(ctx context.Context, s *site.Site, st *store.Store, progress Progress) (Report, error) {
	r := &run{site: s, store: st, progress: progress, maps: map[string][]string{}, tableMaps: map[[2]string]bool{}, inbox: map[[3]string]bool{}, lie: map[[2]string]map[string]bool{}}
	sources, faults := r.find()
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	r.hashKnown(ctx, sources)
	r.orderSameName(sources)
	copies := r.copies(sources)
	seen, failed := map[string]bool{}, map[string]bool{}
	began := make([]bool, len(sources))
	one := func(i int) (id string) {
		if began[i] || ctx.Err() != nil {
			return ""
		}
		began[i] = true
		id, err := r.take(ctx, sources[i])
		if err != nil {
			faults = append(faults, err)
			failed[sources[i].feed.Table.Name+sources[i].base] = true
			return ""
		}
		seen[id] = true
		return id
	}
	for i, src := range sources {
		if of, isCopy := copies[i]; isCopy {
			one(of)
			if r.isTaken(sources[of]) {
				r.note("%s: the same bytes as %s, which is taken: not read a second time", src.base, sources[of].base)
				r.done += src.size
				continue
			}
		}
		one(i)
	}
	if err := ctx.Err(); err != nil {
		return r.report, errors.Join(append(faults, err)...)
	}
	if err := r.newestAgain(failed); err != nil {
		faults = append(faults, err)
	}
	r.noteOldMaps(seen, failed)
	return r.report, errors.Join(faults...)
}

// find lists the files of all feeds, feed by feed, sorted by path.
func (r *run) find() (sources []source, faults []error) {
	taken := map[string]bool{}
	for i := range r.site.Feeds {
		feed := &r.site.Feeds[i]
		paths, err := filepath.Glob(feed.Files)
		if err != nil {
			faults = append(faults, configurationError{fmt.Errorf("%s:%d: files: %q is no pattern: %w", r.site.Path, feed.Line, feed.Files, err)})
			continue
		}
		unread := unreadable(feed.Files)
		for _, err := range unread {
			faults = append(faults, fmt.Errorf("%s:%d: files: %w", r.site.Path, feed.Line, err))
		}
		if len(paths) == 0 && unread == nil {
			r.note("%s:%d: files: no file matches %s: nothing was read for %s", r.site.Path, feed.Line, r.relative(feed.Files), feed.Table.Name)
		}
		sort.Strings(paths)
		sum := sha256.Sum256(feed.Effective(r.site))
		r.tableMaps[[2]string{feed.Table.Name, hex.EncodeToString(sum[:])}] = true
		for _, path := range paths {
			src := source{feed: feed, path: path, base: filepath.Base(path), mapHash: hex.EncodeToString(sum[:])}
			// Sheets of one workbook are exports of their own.
			key := feed.Table.Name + "\x00" + path + "\x00" + strings.ToLower(strings.TrimSpace(feed.Sheet))
			r.maps[feed.Table.Name+"\x00"+src.base] = append(r.maps[feed.Table.Name+"\x00"+src.base], src.mapHash)
			if taken[key] {
				faults = append(faults, configurationError{fmt.Errorf("%s:%d: files: %s is named by another feed of %s too: let one feed name it", r.site.Path, feed.Line, r.relative(path), feed.Table.Name)})
				continue
			}
			taken[key] = true
			info, err := os.Stat(path)
			switch {
			case errors.Is(err, fs.ErrNotExist):
				// The pattern found the name, so that it is a link.
				err = errors.New("found a link that leads nowhere, wanted a file: mend the link, or take it away")
			case err != nil:
				err = withoutPath(err)
			case info.IsDir():
				err = fmt.Errorf("found a folder, wanted a file: move it elsewhere, or let files: of the feed on line %d of site.yaml name less", feed.Line)
			case !info.Mode().IsRegular():
				err = fmt.Errorf("found a device or a pipe, wanted a file: move it elsewhere, or let files: of the feed on line %d of site.yaml name less", feed.Line)
			}
			if err != nil {
				faults = append(faults, fmt.Errorf("%s: %w", r.relative(path), err))
				continue
			}
			src.size = info.Size()
			if src.date, err = feed.DateOf(src.base); err != nil {
				faults = append(faults, configurationError{fmt.Errorf("%s:%d: file_date: %s: %w", r.site.Path, feed.Line, src.base, err)})
				continue
			}
			if feed.FileDate != nil && src.date == "" {
				r.note("%s: no date by the feed's file_date in its name: it stands before all dated files", src.base)
			}
			r.total += src.size
			sources = append(sources, src)
		}
	}
	return sources, faults
}

// unreadable lists what keeps a pattern from being followed: to match names, the
// library passes over folders that cannot be read, as if they were empty.
func unreadable(pattern string) []error {
	var faults []error
	hasMeta := func(text string) bool { return strings.ContainsAny(text, `*?[\`) }
	dir := filepath.Dir(pattern)
	dirs := []string{dir}
	if hasMeta(dir) {
		faults = unreadable(dir)
		dirs, _ = filepath.Glob(dir)
	}
	for _, dir := range dirs {
		err := error(nil)
		if hasMeta(filepath.Base(pattern)) {
			var f *os.File
			if f, err = os.Open(dir); err == nil {
				_, err = f.Readdirnames(1)
				f.Close()
			}
		} else {
			_, err = os.Lstat(filepath.Join(dir, filepath.Base(pattern)))
		}
		// A folder that is not there holds no files, and an empty one none either;
		// of several that match, one may be a file.
		if err == nil || errors.Is(err, io.EOF) || errors.Is(err, fs.ErrNotExist) || len(dirs) > 1 && errors.Is(err, syscall.ENOTDIR) {
			continue
		}
		faults = append(faults, fmt.Errorf("%s cannot be read, wanted a folder of exports: %w", dir, withoutPath(err)))
	}
	return faults
}

// withoutPath is an error of the disk without the path, which is told already.
func withoutPath(err error) error {
	var told *fs.PathError
	if errors.As(err, &told) {
		return told.Err
	}
	return err
}

// take reads one file unless its reading is there, or it was withdrawn, and
// returns the reading's id.
func (r *run) take(ctx context.Context, src source) (string, error) {
	began := r.done
	defer func() { r.done = began + src.size }()
	r.tell(src)
	same, withdrawn := known(r.store, src)
	var retires []string
	var renamed []store.Reading
	if same != nil || len(withdrawn) > 0 || r.underOtherName(src) {
		hash, err := r.hash(src.path)
		if err != nil {
			return "", fmt.Errorf("%s: %w", r.relative(src.path), err)
		}
		if slices.ContainsFunc(withdrawn, func(w store.Withdrawal) bool { return w.SHA256 == hash }) {
			r.note("%s: it was withdrawn, and what lies at %s is the same: not taken; thawline withdraw --forget %s lets the next ingest take it", src.base, r.relative(src.path), src.base)
			return "", nil
		}
		id := readingID(src, hash)
		for _, old := range same {
			if old.ID == id {
				r.add(old, true)
				r.lies(src, hash)
				return id, r.dropEarlierNames(src, old)
			}
			// A reading by a map that another feed of these files states is no old one.
			if old.SHA256 == hash && !slices.Contains(r.maps[old.Table+"\x00"+old.File], old.Map) {
				retires = append(retires, old.ID)
			}
		}
		renamed = r.otherNames(src, hash)
	}
	var reading store.Reading
	err := r.store.CommitReading(func(dir string) (store.Reading, error) {
		var err error
		reading, err = r.stage(ctx, src, dir)
		return reading, err
	}, append(retires, idsOf(renamed)...)...)
	if err != nil {
		return "", err
	}
	r.add(reading, false)
	r.lies(src, reading.SHA256)
	r.noteNames(src, renamed)
	if len(retires) == 0 {
		r.noteVersion(src, reading)
	}
	return reading.ID, nil
}

// known lists the readings and the withdrawn exports of a file's name that may be
// of the same bytes as it.
func known(st *store.Store, src source) (same []store.Reading, withdrawn []store.Withdrawal) {
	for _, old := range st.ReadingsOf(src.feed.Table.Name, src.base) {
		if old.Bytes == src.size {
			same = append(same, old)
		}
	}
	withdrawn = slices.DeleteFunc(st.Withdrawn(), func(w store.Withdrawal) bool { return w.Table != src.feed.Table.Name || w.File != src.base })
	return same, withdrawn
}

// hashKnown begins to hash the files that the store may know, several at once,
// to see whether they are the same. The bytes of others are hashed as they are
// read. It stops with ctx.
func (r *run) hashKnown(ctx context.Context, sources []source) {
	r.hashes = map[string]func() (string, error){}
	names, alike := namesakes(sources), alikes(sources)
	var work []func()
	for _, src := range sources {
		same, withdrawn := known(r.store, src)
		may := same != nil || len(withdrawn) > 0 || names[nameOf(src)] > 1 || alike[likeOf(src)] > 1 || r.underOtherName(src)
		if !may || r.hashes[src.path] != nil {
			continue
		}
		var hash string
		var err error
		done := make(chan struct{})
		work = append(work, func() {
			defer close(done)
			if err = ctx.Err(); err == nil {
				hash, err = hashFile(src.path)
			}
		})
		r.hashes[src.path] = func() (string, error) { <-done; return hash, err }
	}
	next := make(chan func())
	go func() {
		defer close(next)
		for _, w := range work {
			next <- w
		}
	}()
	for range runtime.GOMAXPROCS(0) {
		go func() {
			for w := range next {
				w()
			}
		}()
	}
}

// hash gives the hash of a file, which may have been begun.
func (r *run) hash(path string) (string, error) {
	if begun := r.hashes[path]; begun != nil {
		return begun()
	}
	// Another sheet of the workbook was read in this run.
	return hashFile(path)
}

// readingID is the hash over all that decides what is read from a file.
func readingID(src source, bytes string) string {
	h := sha256.New()
	for _, part := range []string{bytes, src.base, src.feed.Table.Name, src.mapHash, fmt.Sprint(contract.Version)} {
		fmt.Fprintf(h, "%d:%s", len(part), part)
	}
	return hex.EncodeToString(h.Sum(nil))
}

func hashFile(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// noteOldMaps names readings that another map made and whose file is gone: they
// stay, and cannot be read anew. A file that failed by the new map has said so.
func (r *run) noteOldMaps(seen, failed map[string]bool) {
	for _, old := range r.store.Readings() {
		if !seen[old.ID] && !failed[old.Table+old.File] && !r.tableMaps[[2]string{old.Table, old.Map}] {
			r.note("%s: its reading was made by an earlier map of %s and stays: what it was read from is no longer at %s", old.File, old.Table, old.Path)
		}
	}
}

func (r *run) add(reading store.Reading, unchanged bool) {
	if reading.Read == 0 && !unchanged {
		r.note("%s: NO ROWS: nothing was read for %s from this file; where there was something to export, export it again", reading.File, reading.Table)
	}
	r.report.Files = append(r.report.Files, FileReport{Table: reading.Table, File: reading.File, Reading: reading.ID, Unchanged: unchanged,
		Read: reading.Read, Accepted: reading.Accepted, Rejected: reading.Rejected, SetAside: reading.SetAside,
		SetAsideCodes: reading.SetAsideCodes, Unmapped: reading.Unmapped, Counted: reading.Counted})
}

func (r *run) note(format string, args ...any) {
	r.report.Notes = append(r.report.Notes, fmt.Sprintf(format, args...))
}

func (r *run) tell(src source) {
	if r.progress != nil {
		r.progress(src.base, min(r.done, r.total), r.total)
	}
}

// relative gives path as a person who knows site.yaml's folder would.
func (r *run) relative(path string) string {
	if short, err := filepath.Rel(r.site.Dir, path); err == nil && filepath.IsLocal(short) {
		return filepath.ToSlash(short)
	}
	return path
}
