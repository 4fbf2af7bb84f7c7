package store

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
	"slices"
	"sort"
	"strings"
)

// Damage is one file that the manifest names and that is not there as named.
type Damage struct {
	// Path is the file's, relative to the store, with slashes.
	Path string `json:"path"`
	// Layer is "sources", "current", "audit" or a pack's.
	Layer string `json:"layer"`
	// Reading and Export are the reading's id and the base name of its export,
	// in sources.
	Reading string `json:"reading,omitempty"`
	Export  string `json:"export,omitempty"`
	// Found says what is wrong: it is missing, it has another size or other bytes.
	Found string `json:"found"`
	// Next says what a person can do about it.
	Next string `json:"next"`
}

// DamageError says that files of a store are missing or are not those that the
// manifest names.
type DamageError struct {
	// Dir is the store's folder.
	Dir     string
	Damages []Damage
}

// Error names the first files and the next step for each kind.
func (e *DamageError) Error() string {
	const shown = 5
	text := fmt.Sprintf("store %s is damaged:", e.Dir)
	for _, d := range e.Damages[:min(shown, len(e.Damages))] {
		text += fmt.Sprintf("\n  %s: %s: %s", d.Path, d.Found, d.Next)
	}
	if more := len(e.Damages) - shown; more > 0 {
		text += fmt.Sprintf("\n  and %d more files: thawline status --verify names all", more)
	}
	return text
}

// named is a file that the manifest names, and where it belongs.
type named struct {
	file  File
	place Damage
}

// namedFiles lists every file that the manifest names, readings first, whose
// reading could be read.
func (s *Store) namedFiles() []named {
	var all []named
	for _, r := range s.Readings() {
		files := r.Files[:len(r.Files):len(r.Files)]
		for _, f := range []*File{r.Codes, r.Numbers} {
			if f != nil {
				files = append(files, *f)
			}
		}
		for _, f := range files {
			all = append(all, named{f, s.inReading(r.entry(""), filepath.Base(f.Path))})
		}
	}
	var layers []string
	for name := range s.manifest.Layers {
		layers = append(layers, name)
	}
	sort.Strings(layers)
	for _, name := range layers {
		verb := "thawline report"
		if period, found := strings.CutPrefix(name, packPrefix); found {
			verb += " --period " + period
		}
		switch name {
		case "current":
			verb = "thawline ingest --rebuild"
		case "audit":
			verb = "thawline mark --rebuild"
		}
		relative := s.manifest.Layers[name].Files
		for i, f := range s.Layer(name) {
			all = append(all, named{f, Damage{Path: name + "/" + relative[i].Path, Layer: name, Next: verb + " makes it anew"}})
		}
	}
	return all
}

// inReading is the damage of a file of a reading, but for what was found.
func (s *Store) inReading(r Entry, file string) Damage {
	return Damage{Path: sourcesName + "/" + r.ID + "/" + file, Layer: sourcesName, Reading: r.ID, Export: r.File,
		Next: fmt.Sprintf("bring the file back from a backup; or thawline withdraw --forget %s, and thawline ingest where the export %s still lies in its place", r.ID[:min(12, len(r.ID))], r.File)}
}

// Damages lists files of sources, current and audit that are missing or of
// another size than the manifest says: without them nothing can be made. It
// looks at no content, and at no pack.
func (s *Store) Damages() []Damage {
	return slices.DeleteFunc(s.damages(), func(d Damage) bool { return ofPacks(d.Layer) })
}

// ofPacks says that a layer is a pack, or the pages that lead to them: nothing
// is made from it.
func ofPacks(layer string) bool { return layer == IndexLayer || strings.HasPrefix(layer, packPrefix) }

// damages is Damages, packs included.
func (s *Store) damages() []Damage {
	all := append([]Damage(nil), s.unread...)
	for _, n := range s.namedFiles() {
		info, err := os.Stat(n.file.Path)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			n.place.Found = "the file is missing"
		case err != nil:
			n.place.Found = "the file cannot be opened"
		case info.Size() != n.file.Bytes:
			n.place.Found = fmt.Sprintf("found %d bytes, wanted %d", info.Size(), n.file.Bytes)
		default:
			continue
		}
		all = append(all, n.place)
	}
	return all
}

// Verify reads every file that the manifest names and compares its SHA-256. The
// readers of Parquet do not notice a page that has changed on the disk.
// progress, which may be nil, is told how many of all bytes are done.
func (s *Store) Verify(ctx context.Context, progress func(done, total int64)) ([]Damage, error) {
	all := s.damages()
	damaged := map[string]bool{}
	for _, d := range all {
		damaged[d.Path] = true
	}
	files := s.namedFiles()
	var done, total int64
	for _, n := range files {
		total += n.file.Bytes
	}
	for _, n := range files {
		if err := ctx.Err(); err != nil {
			return all, err
		}
		if !damaged[n.place.Path] {
			hash, err := HashFile(n.file.Path)
			switch {
			case err != nil:
				n.place.Found = "the file cannot be read: the disk may fail"
				all = append(all, n.place)
			case hash != n.file.SHA256:
				n.place.Found = "its bytes have changed (SHA-256)"
				all = append(all, n.place)
			}
		}
		if done += n.file.Bytes; progress != nil {
			progress(done, total)
		}
	}
	return all, nil
}

// HashFile returns the hash of a file, as the manifest holds it.
func HashFile(name string) (string, error) {
	f, err := os.Open(name)
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

// DropLayers takes layers out of the store, for the next run to make them anew.
func (s *Store) DropLayers(names ...string) error {
	if err := s.mustWrite(); err != nil {
		return err
	}
	if err := s.rollForward(); err != nil {
		return err
	}
	next := s.manifest.clone()
	for _, name := range names {
		delete(next.Layers, name)
	}
	if len(next.Layers) == len(s.manifest.Layers) {
		return nil
	}
	retired := next.Retired
	if slices.Contains(names, "current") {
		next.Retired = nil
	} else {
		retired = nil
	}
	if err := s.commit(next); err != nil {
		return err
	}
	if err := s.dropRetired(retired); err != nil {
		return err
	}
	for _, name := range names {
		if !ofPacks(name) {
			if err := s.sweepLayer(name); err != nil {
				return err
			}
		}
	}
	return nil
}
