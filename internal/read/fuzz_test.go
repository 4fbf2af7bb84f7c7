package read

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"thawline/internal/contract"
)

// Whatever bytes come as a file, under whatever encoding is stated: nothing
// panics, faults are of the file and have its name, the same bytes give the same
// rows, and rows have places that go up. The seeds are the damaged exports.
func FuzzOpen(f *testing.F) {
	entries, err := os.ReadDir("../../testdata/torture")
	if err != nil {
		f.Fatal(err)
	}
	for i, entry := range entries {
		content, err := os.ReadFile(filepath.Join("../../testdata/torture", entry.Name()))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(content, byte(i))
	}
	dir := f.TempDir()
	encodings := append([]string{""}, Encodings...)
	tables := contract.Feeds()
	f.Fuzz(func(t *testing.T, content []byte, choice byte) {
		if len(content) > 1<<16 {
			return
		}
		path := filepath.Join(dir, "export")
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		o := Options{Encoding: encodings[int(choice)%len(encodings)], Table: tables[int(choice)%len(tables)]}
		first, err := everyRow(path, o)
		var fault *Error
		if err != nil && (!errors.As(err, &fault) || fault.Name != "export" || fault.Says == "") {
			t.Fatalf("%v is no fault of the file", err)
		}
		again, againErr := everyRow(path, o)
		if !slices.Equal(first, again) || (err == nil) != (againErr == nil) {
			t.Fatalf("%q %v, then %q %v", first, err, again, againErr)
		}
	})
}

func everyRow(path string, o Options) (all []string, err error) {
	f, err := Open(path, o)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	last := int64(0)
	for stretch, err := range f.Stretches() {
		if err != nil {
			return all, err
		}
		err := stretch.Rows(func(row Row) bool {
			if row.Place < last {
				panic("a row before the last")
			}
			last = row.Place
			for _, c := range row.Cells {
				all = append(all, string(c))
			}
			all = append(all, row.Fault, row.Other, "\n")
			return true
		})
		stretch.Release()
		if err != nil {
			return all, err
		}
	}
	_, _, err = f.Sum()
	return all, err
}
