package inspect

import (
	"os"
	"path/filepath"

	"thawline/internal/read"
)

// watch tells how far looking at files is, in bytes. Each file counts twice: it
// is read once for its columns, and once for what stands beside its codes. A
// nil watch tells nobody.
type watch struct {
	tell  func(name string, done, total int64)
	sizes map[string]int64
	// left is how often a file still counts: messages are read for each table.
	left              map[string]int
	name              string
	before, of, total int64
	// shown is what was told last: a file that is read again, as for each of its
	// sheets, does not go back.
	shown int64
}

func newWatch(tell func(name string, done, total int64), paths []string) *watch {
	if tell == nil {
		return nil
	}
	w := &watch{tell: tell, sizes: map[string]int64{}, left: map[string]int{}}
	for _, path := range paths {
		path = filepath.Clean(path)
		if info, err := os.Stat(path); err == nil && info.Mode().IsRegular() && w.sizes[path] == 0 {
			w.sizes[path], w.left[path] = info.Size(), 2
			w.total += 2 * info.Size()
		}
	}
	return w
}

// begin says that a file is read now, end that it was.
func (w *watch) begin(path string) {
	if w != nil {
		w.name, w.of = filepath.Base(path), 0
		if w.left[path] > 0 {
			w.of = w.sizes[path]
			w.left[path]--
		}
		w.at(0)
	}
}

func (w *watch) end() {
	if w != nil {
		w.before += w.of
		w.of = 0
		w.at(0)
	}
}

// read says how far the file in hand is read.
func (w *watch) read(f *read.File) {
	if w != nil {
		w.at(f.Done())
	}
}

func (w *watch) at(done int64) {
	w.shown = max(w.shown, w.before+min(done, w.of))
	w.tell(w.name, w.shown, w.total)
}

// done says that all is read, whatever was passed over.
func (w *watch) done() {
	if w != nil {
		w.tell(w.name, w.total, w.total)
	}
}
