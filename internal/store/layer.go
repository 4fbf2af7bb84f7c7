package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
)

// LayerFacts is what the manifest keeps of a layer beside its files.
type LayerFacts struct {
	// From is a hash of all that the layer was built from: where it is the same
	// as that of the inputs, the layer is up to date.
	From string
	// Sums are the layer's own counts ("episodes", "units"), for readers.
	Sums map[string]int64
}

// packPrefix begins the name of every layer that is a pack.
const packPrefix = "packs/"

// LayerFacts returns the facts of "current", "audit" or a pack ("packs/2026-10"),
// and whether there is one.
func (s *Store) LayerFacts(name string) (LayerFacts, bool) {
	l, found := s.manifest.Layers[name]
	return LayerFacts{l.From, l.Sums}, found
}

// Packs returns the names of the packs that the store holds ("packs/2026-10"),
// in their order.
func (s *Store) Packs() []string {
	var names []string
	for name := range s.manifest.Layers {
		if strings.HasPrefix(name, packPrefix) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// Layer returns the files of a layer, sorted by path, their paths absolute.
func (s *Store) Layer(name string) []File {
	l := s.manifest.Layers[name]
	files := make([]File, len(l.Files))
	for i, f := range l.Files {
		files[i] = f
		files[i].Path = s.resolve(path.Join(name, f.Path))
	}
	return files
}

// LayerFiles returns the absolute paths of one table's files in a layer, in
// order: "patients" gives current/patients.parquet, "labs/inr" gives
// current/labs/inr/2025.parquet, …2026.parquet, and "labs" those of all tests.
func (s *Store) LayerFiles(layer, table string) []string {
	var paths []string
	for _, f := range s.Layer(layer) {
		if f.Name == table || strings.HasPrefix(f.Name, table+"/") {
			paths = append(paths, f.Path)
		}
	}
	return paths
}

// resolve gives the absolute path of a file that the manifest names. After an
// interrupted commit it may still lie where it was staged, until a run that
// writes moves it.
func (s *Store) resolve(relative string) string {
	for _, m := range s.manifest.Pending {
		if m.To == relative {
			if staged := filepath.Join(s.dir, filepath.FromSlash(m.From)); exists(staged) {
				return staged
			}
		}
	}
	return filepath.Join(s.dir, filepath.FromSlash(relative))
}

func exists(name string) bool {
	_, err := os.Lstat(name)
	return err == nil
}

// IndexLayer is the layer of pages that lead to the packs: packs/index.html.
const IndexLayer = "packs"

// Replacement is one layer that ReplaceLayers makes anew.
type Replacement struct {
	// Name is "current", "audit", a pack ("packs/2026-10") or IndexLayer.
	Name string
	// Stage writes files below dir, an empty folder, and returns every file of
	// the new layer: those it wrote, and those of the layer as it stands (by their
	// path from Layer or LayerFiles) that it keeps.
	Stage func(dir string) ([]File, error)
	// Facts is read once Stage has returned.
	Facts *LayerFacts
}

// ReplaceLayer replaces one layer as a whole, in one step: see ReplaceLayers.
func (s *Store) ReplaceLayer(ctx context.Context, name string, stage func(dir string) ([]File, error), facts LayerFacts) error {
	return s.ReplaceLayers(ctx, Replacement{name, stage, &facts})
}

// ReplaceLayers replaces layers as a whole, all of them in one step. With a new
// current, retired readings are deleted: it follows from the others alone.
// Where a stage fails or the process ends, the store is as before or as after.
func (s *Store) ReplaceLayers(ctx context.Context, all ...Replacement) error {
	if err := s.mustWrite(); err != nil {
		return err
	}
	for _, r := range all {
		if r.Name != path.Clean(r.Name) || !filepath.IsLocal(filepath.FromSlash(r.Name)) || (r.Name != "current" && r.Name != "audit" && r.Name != IndexLayer && !strings.HasPrefix(r.Name, packPrefix)) {
			return fmt.Errorf("%q is no layer of the store", r.Name)
		}
	}
	// A commit that could not be finished has its files in the staging folder.
	if err := s.rollForward(); err != nil {
		return err
	}
	err := s.replace(ctx, all)
	if err == nil || len(s.manifest.Pending) == 0 {
		for _, r := range all {
			err = errors.Join(err, os.RemoveAll(s.stagingOf(r.Name)))
		}
	}
	return err
}

// stagedAs is the name of a layer's folder in the staging folder: flat, since
// the layer packs would hold those of the packs.
func stagedAs(name string) string { return strings.ReplaceAll(name, "/", "+") }

func (s *Store) stagingOf(name string) string {
	return filepath.Join(s.dir, stagingName, stagedAs(name))
}

func (s *Store) replace(ctx context.Context, all []Replacement) error {
	next := s.manifest.clone()
	for _, r := range all {
		dir := s.stagingOf(r.Name)
		if err := os.RemoveAll(dir); err != nil {
			return err
		}
		if err := os.MkdirAll(dir, folderMode); err != nil {
			return err
		}
		files, err := r.Stage(dir)
		if err != nil {
			return err
		}
		if err := s.stage(next, r.Name, dir, files, *r.Facts); err != nil {
			return err
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	var retired []Entry
	if slices.ContainsFunc(all, func(r Replacement) bool { return r.Name == "current" }) {
		retired, next.Retired = next.Retired, nil
	}
	if err := s.commit(next); err != nil {
		return err
	}
	if err := s.rollForward(); err != nil {
		return err
	}
	if err := s.dropRetired(retired); err != nil {
		return err
	}
	for _, r := range all {
		if r.Name == "current" || r.Name == "audit" {
			if err := s.sweepLayer(r.Name); err != nil {
				return err
			}
		}
	}
	return nil
}

// stage checks the staged and kept files of a layer, and writes them into the
// next manifest with the moves that they need.
func (s *Store) stage(next *manifest, name, dir string, files []File, facts LayerFacts) error {
	fresh := layer{From: facts.From, Sums: facts.Sums, Files: []File{}}
	kept := map[string]File{}
	for _, f := range s.Layer(name) {
		kept[f.Path] = f
	}
	root := filepath.Join(s.dir, filepath.FromSlash(name))
	staged, seen := map[string]bool{}, map[string]bool{}
	for _, f := range files {
		base := dir
		if old, found := kept[f.Path]; found {
			f, base = old, root
		}
		relative, err := filepath.Rel(base, f.Path)
		if err != nil || !filepath.IsLocal(relative) {
			return fmt.Errorf("layer %s: file %s is neither staged nor kept", name, filepath.Base(f.Path))
		}
		if seen[relative] {
			return fmt.Errorf("layer %s: file %s is named twice", name, relative)
		}
		seen[relative] = true
		if base == dir {
			staged[relative] = true
			if err := syncFile(f.Path); err != nil {
				return err
			}
			next.Pending = append(next.Pending, move{
				From: path.Join(stagingName, stagedAs(name), filepath.ToSlash(relative)), To: path.Join(name, filepath.ToSlash(relative))})
		}
		f.Path = filepath.ToSlash(relative)
		f.Name = strings.TrimSuffix(f.Path, ".parquet")
		fresh.Files = append(fresh.Files, f)
	}
	if err := onlyNamed(dir, staged); err != nil {
		return fmt.Errorf("layer %s: %w", name, err)
	}
	if err := syncTree(dir); err != nil {
		return err
	}
	next.Layers[name] = fresh
	return nil
}

// rollForward does the renames that the manifest says are pending. It may be
// interrupted and done again.
func (s *Store) rollForward() error {
	if len(s.manifest.Pending) == 0 {
		return nil
	}
	folders := map[string]bool{}
	for _, m := range s.manifest.Pending {
		from, to := filepath.Join(s.dir, filepath.FromSlash(m.From)), filepath.Join(s.dir, filepath.FromSlash(m.To))
		if err := os.MkdirAll(filepath.Dir(to), folderMode); err != nil {
			return err
		}
		if err := step("before a move"); err != nil {
			return err
		}
		if err := os.Rename(from, to); err != nil {
			if !errors.Is(err, fs.ErrNotExist) || !exists(to) {
				return fmt.Errorf("finish the last commit: %w", err)
			}
			// It was moved before the interruption.
		}
		for dir := filepath.Dir(to); dir != s.dir && len(dir) > len(s.dir); dir = filepath.Dir(dir) {
			folders[dir] = true
		}
	}
	for dir := range folders {
		if err := syncDir(dir); err != nil {
			return err
		}
	}
	if err := syncDir(s.dir); err != nil {
		return err
	}
	next := s.manifest.clone()
	next.Pending = nil
	return s.commit(next)
}

// Describe returns the facts of a finished file that is not Parquet (a page of
// a pack), for ReplaceLayer.
func Describe(name string) (File, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return File{}, err
	}
	return File{Path: name, SHA256: SHA256(text), Bytes: int64(len(text))}, nil
}

// onlyNamed checks that dir holds the named files, by relative path, and no others.
func onlyNamed(dir string, named map[string]bool) error {
	found := 0
	err := filepath.WalkDir(dir, func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		relative, err := filepath.Rel(dir, name)
		if err != nil {
			return err
		}
		if !named[relative] {
			return fmt.Errorf("file %s is staged, but not named", relative)
		}
		if !entry.Type().IsRegular() {
			return fmt.Errorf("%s is not a regular file", relative)
		}
		found++
		return nil
	})
	if err == nil && found != len(named) {
		err = fmt.Errorf("%d files named, %d are there", len(named), found)
	}
	return err
}

func syncFile(name string) error {
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// syncTree waits until the names in dir and in all folders below are on the disk.
func syncTree(dir string) error {
	return filepath.WalkDir(dir, func(name string, entry fs.DirEntry, err error) error {
		if err == nil && entry.IsDir() {
			err = syncDir(name)
		}
		return err
	})
}
