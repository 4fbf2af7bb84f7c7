package store

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sort"
)

// Files of a reading's folder beside Parquet: what describes the reading, the
// codes that no map knew, and toldName.
const (
	readingName  = "reading.json"
	setAsideName = "set_aside.json"
)

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
	// Version is the manifest's: see Entry. A reading never changes, but which of
	// two of one name is the newest may.
	Version int64 `json:"-"`
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
	// They stand in a file of their own, which Codes names; nil where there are none.
	Unmapped      map[string]int64     `json:"-"`
	SetAsideCodes map[string]CodeCount `json:"-"`
	// SharedCodes lists those of both that stand in the rows of several patients.
	SharedCodes []string `json:"-"`
	Codes       *File    `json:"codes,omitempty"`
	// Files are the stored files: one per table (labs: per test), and problems.
	Files []File `json:"files"`
	// Told is what CommitReading notes of the reading's numbers, if it is there;
	// Numbers is the file in which that stands.
	Told    *Told `json:"-"`
	Numbers *File `json:"numbers,omitempty"`
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
// date, base name and version. It depends on when they came only where two exports
// have one name.
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

// ReadingsOf returns the readings of exports of one name for a table, in no order.
func (s *Store) ReadingsOf(table, file string) []Reading {
	return s.someReadings(exportKey{table: table, file: file})
}

// ReadingsOfSize returns the readings of exports of that many bytes for a table, in
// no order.
func (s *Store) ReadingsOfSize(table string, bytes int64) []Reading {
	return s.someReadings(exportKey{table: table, bytes: bytes})
}

// exportKey is what readings are looked up by: a table, and an export's name or size.
type exportKey struct {
	table, file string
	bytes       int64
}

func (s *Store) someReadings(key exportKey) (some []Reading) {
	if s.byExport == nil {
		s.byExport = map[exportKey][]string{}
		for _, r := range s.readings {
			for _, k := range []exportKey{{table: r.Table, file: r.File}, {table: r.Table, bytes: r.Bytes}} {
				s.byExport[k] = append(s.byExport[k], r.ID)
			}
		}
	}
	for _, id := range s.byExport[key] {
		some = append(some, s.readings[id])
	}
	return some
}

// Entries returns what the manifest says of each reading, in source order,
// those included whose description is damaged.
func (s *Store) Entries() []Entry { return slices.Clone(s.manifest.Readings) }

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

func (r *Reading) entry(hash string) Entry {
	return Entry{ID: r.ID, Table: r.Table, Date: r.Date, File: r.File, SHA256: r.SHA256, Version: r.Version,
		Read: r.Read, Accepted: r.Accepted, Rejected: r.Rejected, SetAside: r.SetAside, Description: hash}
}

// codes is the shape of set_aside.json.
type codes struct {
	SetAside map[string]CodeCount `json:"set_aside,omitempty"`
	Unmapped map[string]int64     `json:"unmapped,omitempty"`
	Shared   []string             `json:"shared,omitempty"`
}

// errChanged says that a description is not the one that was written.
var errChanged = errors.New("its bytes have changed (SHA-256)")

// loadReading reads a reading's description and makes its paths absolute. Its
// errors quote nothing of the content.
func (s *Store) loadReading(entry Entry) (Reading, error) {
	var r Reading
	dir := filepath.Join(s.dir, sourcesName, entry.ID)
	if err := readDescription(filepath.Join(dir, readingName), entry.Description, &r); err != nil {
		return r, err
	}
	r.Version = entry.Version
	files := make([]*File, 0, len(r.Files)+1)
	for i := range r.Files {
		files = append(files, &r.Files[i])
	}
	for _, f := range []*File{r.Codes, r.Numbers} {
		if f != nil {
			files = append(files, f)
		}
	}
	for _, f := range files {
		if filepath.Base(f.Path) != f.Path {
			return r, errors.New("a path leads out of the reading")
		}
		f.Path = filepath.Join(dir, f.Path)
	}
	if r.Codes == nil {
		return r, nil
	}
	var c codes
	if err := readDescription(r.Codes.Path, r.Codes.SHA256, &c); err != nil {
		return r, fmt.Errorf("%s: %w", setAsideName, err)
	}
	r.SetAsideCodes, r.Unmapped, r.SharedCodes = c.SetAside, c.Unmapped, c.Shared
	return r, nil
}

// readDescription reads a JSON file of a known hash.
func readDescription(path, hash string, into any) error {
	text, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return errors.New("the file is missing")
	case err != nil:
		return errors.New("the file cannot be opened")
	case SHA256(text) != hash:
		return errChanged
	}
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(into); err != nil {
		return errors.New("another version of thawline wrote it")
	}
	return nil
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
	beside := func(name, file string, text []byte) (told, here *File, err error) {
		told = &File{Name: name, Path: file, SHA256: SHA256(text), Bytes: int64(len(text))}
		absolute := *told
		absolute.Path = filepath.Join(final, file)
		return told, &absolute, writeSynced(filepath.Join(temp, file), text)
	}
	if r.SetAsideCodes != nil || r.Unmapped != nil {
		text, err := json.MarshalIndent(codes{r.SetAsideCodes, r.Unmapped, r.SharedCodes}, "", "  ")
		if err != nil {
			return err
		}
		if told.Codes, r.Codes, err = beside("set_aside", setAsideName, append(text, '\n')); err != nil {
			return err
		}
	}
	if r.Told != nil {
		var err error
		if told.Numbers, r.Numbers, err = beside("told", toldName, r.Told.bytes()); err != nil {
			return err
		}
		r.Told = nil
	}
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
	r.Version = next.versionFor(&r)
	next.retire(retires)
	next.Retired = slices.DeleteFunc(next.Retired, func(e Entry) bool { return e.ID == r.ID })
	next.Readings = append(next.Readings, r.entry(SHA256(text)))
	err = s.commit(next)
	if !s.manifest.names(r.ID) {
		os.RemoveAll(final)
		return err
	}
	s.readings[r.ID], s.byExport = r, nil
	s.forgetRetired()
	return err
}

// Retire takes readings out of the store. An id that is not there is passed
// over. What they said is deleted once current no longer holds it.
func (s *Store) Retire(ids ...string) error {
	if err := s.mustWrite(); err != nil {
		return err
	}
	return s.retire(s.manifest.clone(), ids)
}

// retire makes next the manifest, without those readings.
func (s *Store) retire(next *manifest, ids []string) error {
	if !next.retire(ids) {
		return nil
	}
	if err := s.commit(next); err != nil {
		return err
	}
	s.forgetRetired()
	return nil
}

// retire moves readings from Readings to Retired, and reports whether there
// was one.
func (m *manifest) retire(ids []string) bool {
	kept := []Entry{}
	for _, r := range m.Readings {
		if slices.Contains(ids, r.ID) {
			m.Retired = append(m.Retired, r)
		} else {
			kept = append(kept, r)
		}
	}
	gone := len(kept) < len(m.Readings)
	m.Readings = kept
	return gone
}

// forgetRetired takes retired readings out of what is held in memory.
func (s *Store) forgetRetired() {
	s.byExport = nil
	for _, r := range s.manifest.Retired {
		delete(s.readings, r.ID)
		s.unread = slices.DeleteFunc(s.unread, func(d Damage) bool { return d.Reading == r.ID })
	}
}

// Retired returns the readings that are no part of the store any more, and
// which a layer current of before may still hold. whole is false where one of
// them is damaged: then nobody can tell what it said.
func (s *Store) Retired() (all []Reading, whole bool) {
	for _, entry := range s.manifest.Retired {
		r, err := s.loadReading(entry)
		if err != nil {
			return nil, false
		}
		for _, f := range r.Files {
			if hash, err := HashFile(f.Path); err != nil || hash != f.SHA256 {
				return nil, false
			}
		}
		all = append(all, r)
	}
	return all, true
}

// DropRetired deletes what retired readings said. It is for a current that is
// known not to hold it; ReplaceLayer does it for a new one.
func (s *Store) DropRetired() error {
	if err := s.mustWrite(); err != nil || len(s.manifest.Retired) == 0 {
		return err
	}
	next := s.manifest.clone()
	next.Retired = nil
	retired := s.manifest.Retired
	if err := s.commit(next); err != nil {
		return err
	}
	return s.dropRetired(retired)
}

// dropRetired removes the folders of readings that the manifest no longer names
// among the retired. An interruption here is made good by the next Open.
func (s *Store) dropRetired(entries []Entry) error {
	for _, r := range entries {
		if err := step("before a reading's removal"); err != nil {
			return err
		}
		if err := os.RemoveAll(filepath.Join(s.dir, sourcesName, r.ID)); err != nil {
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
