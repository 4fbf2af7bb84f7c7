package store

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sort"

	"github.com/google/renameio/v2"

	"thawline/internal/contract"
)

// manifestName is the file that says what is in a store.
const manifestName = "manifest.json"

// manifest is the whole of manifest.json. It holds no wall-clock time and no
// absolute path: the same inputs give the same bytes, wherever the store lies.
type manifest struct {
	Contract int              `json:"contract"`
	Readings []Entry          `json:"readings"`
	Layers   map[string]layer `json:"layers"`
	// Retired are readings that are no part of the store any more; their folders
	// stay until current no longer holds what they said (ReplaceLayer).
	Retired []Entry `json:"retired,omitempty"`
	// Withdrawn are exports that were taken back, by name.
	Withdrawn []Withdrawal `json:"withdrawn,omitempty"`
	// Pending lists renames that belong to this manifest and may not all be
	// done yet. Paths are relative to the store.
	Pending []move `json:"pending,omitempty"`
}

// Entry names one reading and tells its sums, as the manifest has them;
// reading.json has the rest.
type Entry struct {
	ID     string `json:"id"`
	Table  string `json:"table"`
	Date   string `json:"date"`
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	// Version counts the bytes that came for the table under the file's name, in
	// the order in which they came: 1, 2, … Readings of the same bytes share it.
	Version  int64 `json:"version"`
	Read     int64 `json:"read"`
	Accepted int64 `json:"accepted"`
	Rejected int64 `json:"rejected"`
	SetAside int64 `json:"set_aside"`
	// Description is the SHA-256 of the reading's reading.json, which in turn
	// holds the hashes of its files.
	Description string `json:"reading_sha256"`
}

// layer is what the manifest says of current, audit or one pack.
type layer struct {
	// From is the hash of what the layer was built from.
	From  string           `json:"from"`
	Sums  map[string]int64 `json:"sums,omitempty"`
	Files []File           `json:"files"`
}

type move struct {
	From string `json:"from"`
	To   string `json:"to"`
}

// VersionError says that a store was written under another contract.
type VersionError struct {
	// Path is the manifest's; Found and Wanted are contract versions.
	Path          string
	Found, Wanted int
}

// Error implements error.
func (e *VersionError) Error() string {
	return fmt.Sprintf("%s: contract: found version %d, this program keeps version %d: use the version of thawline that wrote this store, "+
		"or name another folder as store: in site.yaml and ingest the exports again", e.Path, e.Found, e.Wanted)
}

// readManifest returns the manifest of the store in dir, or an error that
// matches os.ErrNotExist where there is none.
func readManifest(dir string) (*manifest, error) {
	path := filepath.Join(dir, manifestName)
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	damaged := func(err error) error {
		return fmt.Errorf("%s: cannot be read (%w): bring it back from a backup, or name another folder as store: in site.yaml and ingest the exports again", path, err)
	}
	// The version first: under another one the rest may have any shape.
	var version struct {
		Contract *int `json:"contract"`
	}
	if err := json.Unmarshal(text, &version); err != nil {
		return nil, damaged(err)
	}
	if version.Contract == nil {
		return nil, damaged(errors.New("no contract version"))
	}
	if *version.Contract != contract.Version {
		return nil, &VersionError{path, *version.Contract, contract.Version}
	}
	m := &manifest{}
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(m); err != nil {
		return nil, damaged(err)
	}
	if m.Layers == nil {
		m.Layers = map[string]layer{}
	}
	// The manifest may have come with a store from elsewhere: no path in it may
	// lead out of the store.
	var paths []string
	for name, l := range m.Layers {
		paths = append(paths, name)
		for _, f := range l.Files {
			paths = append(paths, f.Path)
		}
	}
	for _, p := range m.Pending {
		paths = append(paths, p.From, p.To)
	}
	for _, r := range append(m.Readings[:len(m.Readings):len(m.Readings)], m.Retired...) {
		if filepath.Base(r.ID) != r.ID {
			return nil, damaged(errors.New("a reading's id is not a plain name"))
		}
		paths = append(paths, r.ID)
	}
	for _, p := range paths {
		if !filepath.IsLocal(filepath.FromSlash(p)) {
			return nil, damaged(errors.New("a path leads out of the store"))
		}
	}
	m.countVersions()
	return m, nil
}

// write replaces the manifest in one atomic rename and waits for the disk. This
// is the moment at which a change of the store happens.
func (m *manifest) write(dir string) error {
	sort.Slice(m.Readings, func(i, j int) bool { return m.Readings[i].before(&m.Readings[j]) })
	for _, l := range m.Layers {
		sort.Slice(l.Files, func(i, j int) bool { return l.Files[i].Path < l.Files[j].Path })
	}
	sort.Slice(m.Retired, func(i, j int) bool { return m.Retired[i].before(&m.Retired[j]) })
	sortWithdrawn(m.Withdrawn)
	text, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return err
	}
	if err := step("before the manifest"); err != nil {
		return err
	}
	if err := renameio.WriteFile(filepath.Join(dir, manifestName), append(text, '\n'), fileMode, renameio.WithStaticPermissions(fileMode), renameio.WithTempDir(dir)); err != nil {
		return fmt.Errorf("write %s: %w", manifestName, err)
	}
	if err := syncDir(dir); err != nil {
		return err
	}
	return step("after the manifest")
}

// commit makes next the store's manifest. After an error s.manifest is the one
// that is on the disk: the new one may be in place though its folder could not
// be synced, and what it names must stay.
func (s *Store) commit(next *manifest) error {
	err := next.write(s.dir)
	if err == nil {
		s.manifest = next
	} else if now, readErr := readManifest(s.dir); readErr == nil {
		s.manifest = now
	}
	return err
}

// names reports whether m has the reading of that id.
func (m *manifest) names(id string) bool {
	for _, r := range m.Readings {
		if r.ID == id {
			return true
		}
	}
	return false
}

// clone copies m so deeply that a change of the copy cannot be seen in m.
func (m *manifest) clone() *manifest {
	c := &manifest{Contract: m.Contract, Layers: map[string]layer{}}
	c.Readings = append(c.Readings, m.Readings...)
	c.Pending = append(c.Pending, m.Pending...)
	c.Retired = append(c.Retired, m.Retired...)
	c.Withdrawn = append(c.Withdrawn, m.Withdrawn...)
	for name, l := range m.Layers {
		files := append([]File(nil), l.Files...)
		sums := map[string]int64{}
		for k, v := range l.Sums {
			sums[k] = v
		}
		c.Layers[name] = layer{l.From, sums, files}
	}
	return c
}

// before is the order of sources: undated files first, then by date, base name
// and version. Versions alone are told by when they came: of two exports of one
// name nothing else says which corrects which. One file may be read for two tables,
// and two tables number their versions each for itself.
func (r *Entry) before(o *Entry) bool {
	switch {
	case r.Date != o.Date:
		return r.Date < o.Date
	case r.File != o.File:
		return r.File < o.File
	case r.Version != o.Version:
		return r.Version < o.Version
	case r.SHA256 != o.SHA256:
		return r.SHA256 < o.SHA256
	case r.Table != o.Table:
		return r.Table < o.Table
	}
	return r.ID < o.ID
}

// step is called between any two steps that change the disk. Tests break it to
// see what a run leaves that ends there.
var step = func(name string) error { return nil }

// syncDir waits until the names in dir are on the disk.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	if err := d.Sync(); err != nil {
		return fmt.Errorf("sync %s: %w", dir, err)
	}
	return nil
}
