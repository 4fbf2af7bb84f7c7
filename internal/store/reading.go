package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sort"
)

// readingName is the file that describes a reading, in the reading's folder.
const readingName = "reading.json"

// CodeCount tells how often a code of no map was met.
type CodeCount struct {
	Count int64 `json:"count"`
	// ExampleUnit is the unit written beside one of them, or empty.
	ExampleUnit string `json:"example_unit,omitempty"`
}

// Reading is what one export said, as it was read once. It never changes.
type Reading struct {
	// ID is the SHA-256, in hex, over all that decides what is read: the bytes,
	// the base name, the feed's effective map and the contract version.
	ID       string `json:"id"`
	Contract int    `json:"contract"`
	Table    string `json:"table"`
	// File is the export's base name. Path is where it was found, relative to
	// the folder of site.yaml, with slashes.
	File string `json:"file"`
	Path string `json:"path"`
	// Date is the date in the file's name, YYYY-MM-DD, or empty.
	Date string `json:"date"`
	// SHA256 and Bytes are those of the export as it lies there.
	SHA256 string `json:"sha256"`
	Bytes  int64  `json:"bytes"`
	// Map is the SHA-256 of the feed's effective map.
	Map string `json:"map_sha256"`
	// Read = Accepted + Rejected + SetAside counts the export's rows. Derived
	// counts rows that were made from accepted ones (ratios from times).
	Read     int64 `json:"read"`
	Accepted int64 `json:"accepted"`
	Rejected int64 `json:"rejected"`
	SetAside int64 `json:"set_aside"`
	Derived  int64 `json:"derived"`
	// Counted tells how often something worth knowing was done to a value.
	Counted map[string]int64 `json:"counted,omitempty"`
	// Unmapped counts codes of optional columns that are in no map, by
	// "column=code"; SetAsideCodes the codes for which a row was set aside.
	Unmapped      map[string]int64     `json:"unmapped,omitempty"`
	SetAsideCodes map[string]CodeCount `json:"set_aside_codes,omitempty"`
	// Files are the stored files: one per table (labs: per test), and problems.
	Files []File `json:"files"`
}

// FilePath returns the absolute path of the reading's file of that name
// ("issues", "labs-inr", "problems"), or "" where it has none.
func (r *Reading) FilePath(name string) string {
	for _, f := range r.Files {
		if f.Name == name {
			return f.Path
		}
	}
	return ""
}

// Readings returns the readings in source order: undated files first, then by
// date, base name and hash of the bytes. It never depends on when they came.
func (s *Store) Readings() []Reading {
	all := make([]Reading, 0, len(s.readings))
	for _, r := range s.readings {
		all = append(all, r)
	}
	sort.Slice(all, func(i, j int) bool {
		a, b := all[i].entry(""), all[j].entry("")
		return a.before(&b)
	})
	return all
}

// Reading returns the reading of that id.
func (s *Store) Reading(id string) (Reading, bool) {
	r, found := s.readings[id]
	return r, found
}

// SourceFiles returns the absolute paths of all readings' files of that name
// ("issues", "labs-inr", "problems"), in source order.
func (s *Store) SourceFiles(name string) []string {
	var paths []string
	for _, r := range s.Readings() {
		if path := r.FilePath(name); path != "" {
			paths = append(paths, path)
		}
	}
	return paths
}

func (r *Reading) entry(hash string) readingEntry {
	return readingEntry{ID: r.ID, Table: r.Table, Date: r.Date, File: r.File, SHA256: r.SHA256,
		Read: r.Read, Accepted: r.Accepted, Rejected: r.Rejected, SetAside: r.SetAside, Reading: hash}
}

// loadReading reads a reading's description and makes its paths absolute.
func (s *Store) loadReading(entry readingEntry) (Reading, error) {
	var r Reading
	dir := filepath.Join(s.dir, sourcesName, entry.ID)
	path := filepath.Join(dir, readingName)
	text, err := os.ReadFile(path)
	if err == nil && SHA256(text) != entry.Reading {
		err = errors.New("it is not the file that the manifest names")
	}
	if err == nil {
		err = json.Unmarshal(text, &r)
	}
	for i := range r.Files {
		if filepath.Base(r.Files[i].Path) != r.Files[i].Path && err == nil {
			err = errors.New("a path leads out of the reading")
		}
		r.Files[i].Path = filepath.Join(dir, r.Files[i].Path)
	}
	if err != nil {
		return r, fmt.Errorf("%s: cannot be read (%w): bring the store back from a backup, or name another folder as store: in site.yaml and ingest the exports again", path, err)
	}
	return r, nil
}

// CommitReading adds one reading. stage writes its files into dir, an empty
// folder, and returns the reading, its Files as Writer.Close gave them, named.
// The readings named in retires go in the same step as the new one comes. Where
// stage fails, or the process ends, the store is as it was. A reading that is
// there already is not added twice.
func (s *Store) CommitReading(stage func(dir string) (Reading, error), retires ...string) error {
	if err := s.mustWrite(); err != nil {
		return err
	}
	sources := filepath.Join(s.dir, sourcesName)
	if err := os.MkdirAll(sources, folderMode); err != nil {
		return err
	}
	temp, err := os.MkdirTemp(sources, tempPrefix)
	if err != nil {
		return err
	}
	r, err := stage(temp)
	if err == nil {
		err = s.commitStaged(temp, r, retires)
	}
	if err != nil {
		os.RemoveAll(temp)
	}
	return err
}

func (s *Store) commitStaged(temp string, r Reading, retires []string) error {
	if err := r.check(temp); err != nil {
		return fmt.Errorf("%s: %w", r.File, err)
	}
	if _, found := s.readings[r.ID]; found {
		os.RemoveAll(temp)
		return s.Retire(retires...)
	}
	if err := step("before reading.json"); err != nil {
		return err
	}
	// Empty maps are not written, so that what is read again is equal.
	if len(r.Counted) == 0 {
		r.Counted = nil
	}
	if len(r.Unmapped) == 0 {
		r.Unmapped = nil
	}
	if len(r.SetAsideCodes) == 0 {
		r.SetAsideCodes = nil
	}
	// The description holds relative paths, the copy in memory absolute ones.
	told := r
	told.Files = make([]File, len(r.Files))
	final := filepath.Join(s.dir, sourcesName, r.ID)
	for i, f := range r.Files {
		told.Files[i] = f
		told.Files[i].Path = filepath.Base(f.Path)
		r.Files[i].Path = filepath.Join(final, told.Files[i].Path)
	}
	text, err := json.MarshalIndent(told, "", "  ")
	if err != nil {
		return err
	}
	text = append(text, '\n')
	if err := writeSynced(filepath.Join(temp, readingName), text); err != nil {
		return err
	}
	if err := os.Chmod(temp, folderMode); err != nil {
		return err
	}
	if err := syncDir(temp); err != nil {
		return err
	}
	if err := step("before the reading's rename"); err != nil {
		return err
	}
	// A folder of this name that the manifest does not name is a leftover.
	if err := os.RemoveAll(final); err != nil {
		return err
	}
	if err := os.Rename(temp, final); err != nil {
		return err
	}
	if err := syncDir(filepath.Dir(final)); err != nil {
		return err
	}
	next := s.manifest.clone()
	next.Readings = append(next.without(retires), r.entry(SHA256(text)))
	err = s.commit(next)
	if !s.manifest.names(r.ID) {
		os.RemoveAll(final)
		return err
	}
	s.readings[r.ID] = r
	return errors.Join(err, s.drop(retires))
}

// Retire takes readings out of the store. An id that is not there is passed over.
func (s *Store) Retire(ids ...string) error {
	if err := s.mustWrite(); err != nil {
		return err
	}
	next := s.manifest.clone()
	next.Readings = next.without(ids)
	if len(next.Readings) == len(s.manifest.Readings) {
		return nil
	}
	if err := s.commit(next); err != nil {
		return err
	}
	return s.drop(ids)
}

// without returns the entries of readings other than those.
func (m *manifest) without(ids []string) []readingEntry {
	gone := map[string]bool{}
	for _, id := range ids {
		gone[id] = true
	}
	kept := []readingEntry{}
	for _, r := range m.Readings {
		if !gone[r.ID] {
			kept = append(kept, r)
		}
	}
	return kept
}

// drop removes the folders of readings that the manifest no longer names. An
// interruption here is made good by the next Open.
func (s *Store) drop(ids []string) error {
	for _, id := range ids {
		if _, found := s.readings[id]; !found {
			continue
		}
		delete(s.readings, id)
		if err := step("before a reading's removal"); err != nil {
			return err
		}
		if err := os.RemoveAll(filepath.Join(s.dir, sourcesName, id)); err != nil {
			return err
		}
	}
	return nil
}

// check holds r against itself and against its files in dir.
func (r *Reading) check(dir string) error {
	if len(r.ID) != 64 || filepath.Base(r.ID) != r.ID {
		return errors.New("the reading has no id")
	}
	if r.Read != r.Accepted+r.Rejected+r.SetAside {
		return fmt.Errorf("the sums do not add up: %d rows read, but %d accepted + %d rejected + %d set aside: please report this as a defect of thawline", r.Read, r.Accepted, r.Rejected, r.SetAside)
	}
	var rows int64
	staged := map[string]bool{}
	for _, f := range r.Files {
		if f.Name == "" || filepath.Dir(f.Path) != dir {
			return fmt.Errorf("file %q is not in the folder given", filepath.Base(f.Path))
		}
		staged[filepath.Base(f.Path)] = true
		if f.Name != "problems" {
			rows += f.Rows
		}
	}
	if rows != r.Accepted+r.Derived {
		return fmt.Errorf("the sums do not add up: %d rows stored, but %d accepted + %d derived: please report this as a defect of thawline", rows, r.Accepted, r.Derived)
	}
	return onlyNamed(dir, staged)
}

// writeSynced writes a new file and waits for the disk.
func writeSynced(path string, text []byte) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, fileMode)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}
