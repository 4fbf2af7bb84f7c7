package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/contract"
)

func open(t *testing.T, dir string, write bool) *Store {
	t.Helper()
	s, err := Open(dir, write)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// put writes a small Parquet file of n rows.
func put(path string, n int) (File, error) {
	record := rowsOf(n)
	defer record.Release()
	w, err := NewWriter(path, kinds, kinds.Columns)
	if err != nil {
		return File{}, err
	}
	if err := w.Write(record); err != nil {
		w.Abort()
		return File{}, err
	}
	return w.Close()
}

// reading stages one reading whose id is made of a letter.
func reading(letter, file, date string, rows int) (string, func(dir string) (Reading, error)) {
	id := strings.Repeat(letter, 64)
	return id, func(dir string) (Reading, error) {
		f, err := put(filepath.Join(dir, "issues.parquet"), rows)
		f.Name = "issues"
		told := &Told{}
		told.Add(texts(unitColumn, "U"+letter, "U"))
		return Reading{ID: id, Told: told, Contract: contract.Version, Table: "issues", File: file, Date: date, SHA256: id,
			Read: int64(rows) + 3, Accepted: int64(rows), Rejected: 1, SetAside: 2, SetAsideCodes: map[string]CodeCount{"product_code=X": {Count: 2}},
			Unmapped: map[string]int64{"fate=gone": 1}, Files: []File{f}}, err
	}
}

// stageLayer stages one file for each path, of that many rows.
func stageLayer(rows map[string]int) func(dir string) ([]File, error) {
	return func(dir string) ([]File, error) {
		var files []File
		for path, n := range rows {
			f, err := put(filepath.Join(dir, path), n)
			if err != nil {
				return nil, err
			}
			files = append(files, f)
		}
		return files, nil
	}
}

// tree lists every file of the store but the lock, with its hash.
func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	all := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || entry.Name() == lockName {
			return err
		}
		text, err := os.ReadFile(path)
		relative, _ := filepath.Rel(dir, path)
		all[relative] = SHA256(text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// view tells what a reader sees: every file that the store names, with its hash
// as named, after checking that the bytes are there.
func view(t *testing.T, s *Store) map[string]string {
	t.Helper()
	seen := map[string]string{}
	note := func(label string, f File) {
		text, err := os.ReadFile(f.Path)
		if err != nil {
			t.Errorf("the store names a file that is not there: %v", err)
		} else if SHA256(text) != f.SHA256 {
			t.Errorf("%s is not the file that the store names", label)
		}
		seen[label] = f.SHA256
	}
	for _, r := range s.Readings() {
		for _, f := range append(r.Files[:len(r.Files):len(r.Files)], *r.Codes) {
			note("sources "+r.ID[:4]+" "+f.Name, f)
		}
	}
	retired, whole := s.Retired()
	if !whole {
		t.Error("a retired reading is not whole")
	}
	for _, r := range retired {
		seen["retired "+r.ID] = r.SHA256
	}
	for _, w := range s.Withdrawn() {
		seen["withdrawn "+w.File] = w.SHA256
	}
	for name := range s.manifest.Layers {
		facts, _ := s.LayerFacts(name)
		seen[name] = facts.From
		for _, f := range s.Layer(name) {
			note(name+" "+f.Name, f)
		}
	}
	return seen
}

type killed struct{}

// Every change is broken before each of its steps, once by an error and once by
// the process's end, and the store must be as before or as after: first to a
// reader, then, repaired by nobody, to the next writer.
func TestBrokenAtEveryStep(t *testing.T) {
	ctx := context.Background()
	oldID, oldReading := reading("a", "bank_1.csv", "2026-01-01", 10)
	goneID, goneReading := reading("c", "bank_0.csv", "2025-12-01", 5)
	_, newReading := reading("b", "bank_1.csv", "2026-01-01", 20)
	prepare := func(t *testing.T, dir string) {
		s := open(t, dir, true)
		for _, stage := range []func(string) (Reading, error){oldReading, goneReading} {
			if err := s.CommitReading(stage); err != nil {
				t.Fatal(err)
			}
		}
		if err := s.ReplaceLayer(ctx, "current", stageLayer(map[string]int{"issues.parquet": 10, "labs/inr/2025.parquet": 11, "labs/inr/2024.parquet": 12}), LayerFacts{From: "one"}); err != nil {
			t.Fatal(err)
		}
		if err := s.Retire(goneID); err != nil {
			t.Fatal(err)
		}
		s.Close()
	}
	changes := map[string]func(*Store) error{
		"add a reading":     func(s *Store) error { return s.CommitReading(newReading) },
		"replace a reading": func(s *Store) error { return s.CommitReading(newReading, oldID) },
		"retire a reading":  func(s *Store) error { return s.Retire(oldID) },
		"withdraw":          func(s *Store) error { return s.Withdraw(oldID) },
		"drop retired":      func(s *Store) error { return s.DropRetired() },
		"drop a layer":      func(s *Store) error { return s.DropLayers("current") },
		"replace current": func(s *Store) error {
			return s.ReplaceLayer(ctx, "current", func(dir string) ([]File, error) {
				files, err := stageLayer(map[string]int{"issues.parquet": 20, "labs/inr/2026.parquet": 21})(dir)
				for _, f := range s.Layer("current") {
					if f.Name == "labs/inr/2025" {
						files = append(files, f)
					}
				}
				return files, err
			}, LayerFacts{From: "two", Sums: map[string]int64{"rows": 41}})
		},
		"make audit": func(s *Store) error {
			return s.ReplaceLayer(ctx, "audit", stageLayer(map[string]int{"episodes.parquet": 5}), LayerFacts{From: "three"})
		},
		"make a pack": func(s *Store) error {
			return s.ReplaceLayer(ctx, "packs/2026-10", func(dir string) ([]File, error) {
				path := filepath.Join(dir, "committee.html")
				if err := os.WriteFile(path, []byte("<p>"), fileMode); err != nil {
					return nil, err
				}
				f, err := Describe(path)
				return []File{f}, err
			}, LayerFacts{From: "four"})
		},
	}
	defer func() { step = func(string) error { return nil } }()
	for name, change := range changes {
		t.Run(name, func(t *testing.T) {
			step = func(string) error { return nil }
			base := t.TempDir()
			prepare(t, base)
			s := open(t, base, true)
			before := view(t, s)
			steps := 0
			step = func(string) error { steps++; return nil }
			if err := change(s); err != nil {
				t.Fatal(err)
			}
			after := view(t, s)
			s.Close()
			if cmp.Equal(before, after) || steps < 2 {
				t.Fatalf("the change changed nothing, or has %d steps", steps)
			}
			final := tree(t, base)
			outcomes := map[string]int{}
			for breakAt := 1; breakAt <= steps; breakAt++ {
				for _, how := range []string{"error", "end"} {
					dir := t.TempDir()
					step = func(string) error { return nil }
					prepare(t, dir)
					s := open(t, dir, true)
					count, place := 0, ""
					step = func(name string) error {
						if count++; count != breakAt {
							return nil
						}
						place = name
						if how == "end" {
							panic(killed{})
						}
						return errors.New("broken")
					}
					err := func() (err error) {
						defer func() {
							if r := recover(); r == (killed{}) {
								err = errors.New("killed")
							} else if r != nil {
								panic(r)
							}
						}()
						return change(s)
					}()
					if err == nil {
						t.Errorf("broken at step %d (%s), yet no error", breakAt, place)
					}
					step = func(string) error { return nil }
					// The kernel takes a dead process's lock; nothing else is done.
					s.lock.Close()
					s.lock = nil
					outcome := ""
					for _, write := range []bool{false, true} {
						again, err := Open(dir, write)
						if err != nil {
							t.Fatalf("step %d (%s, %s): open for writing %v: %v", breakAt, place, how, write, err)
						}
						now := view(t, again)
						is := ""
						switch {
						case cmp.Equal(now, before):
							is = "before"
						case cmp.Equal(now, after):
							is = "after"
						default:
							t.Errorf("step %d (%s, %s): between: %s", breakAt, place, how, cmp.Diff(before, now))
						}
						if outcome != "" && is != outcome {
							t.Errorf("step %d (%s, %s): a reader saw %s, a writer %s", breakAt, place, how, outcome, is)
						}
						outcome = is
						again.Close()
					}
					outcomes[outcome]++
					if outcome == "after" {
						if diff := cmp.Diff(final, tree(t, dir)); diff != "" {
							t.Errorf("step %d (%s, %s): the next run does not leave what an unbroken one leaves:\n%s", breakAt, place, how, diff)
						}
					}
					// The next run does the same again, without repair.
					again := open(t, dir, true)
					if err := change(again); err != nil {
						t.Errorf("step %d (%s, %s): again: %v", breakAt, place, how, err)
					}
					if now := view(t, again); !cmp.Equal(now, after) {
						t.Errorf("step %d (%s, %s): again: %s", breakAt, place, how, cmp.Diff(after, now))
					}
					again.Close()
					if diff := cmp.Diff(final, tree(t, dir)); diff != "" {
						t.Errorf("step %d (%s, %s): again: other files:\n%s", breakAt, place, how, diff)
					}
				}
			}
			if outcomes["before"] == 0 || outcomes["after"] == 0 {
				t.Errorf("outcomes %v: the break points miss one side of the commit", outcomes)
			}
		})
	}
}

func TestFailedStageLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, true)
	before := tree(t, dir)
	broken := errors.New("broken")
	if err := s.CommitReading(func(dir string) (Reading, error) {
		_, err := put(filepath.Join(dir, "issues.parquet"), 3)
		return Reading{}, errors.Join(broken, err)
	}); !errors.Is(err, broken) {
		t.Errorf("error %v", err)
	}
	if err := s.ReplaceLayer(context.Background(), "current", func(dir string) ([]File, error) {
		_, err := put(filepath.Join(dir, "issues.parquet"), 3)
		return nil, errors.Join(broken, err)
	}, LayerFacts{}); !errors.Is(err, broken) {
		t.Errorf("error %v", err)
	}
	if diff := cmp.Diff(before, tree(t, dir)); diff != "" {
		t.Error(diff)
	}
}

func TestReadingsStandInSourceOrder(t *testing.T) {
	dir := t.TempDir()
	files := [][3]string{{"d", "bank_2026-02.csv", "2026-02-01"}, {"b", "z.csv", ""}, {"c", "bank_2026-01.csv", "2026-01-01"}, {"a", "bank_2026-02.csv", "2026-02-01"}}
	s := open(t, dir, true)
	for _, f := range files {
		_, stage := reading(f[0], f[1], f[2], 1)
		if err := s.CommitReading(stage); err != nil {
			t.Fatal(err)
		}
	}
	if got := orderOf(s); got != "bcda" {
		t.Errorf("order %s, want bcda: undated, date, name, and of one name as they came", got)
	}
	want := s.Readings()
	s.Close()
	again := open(t, dir, false)
	if diff := cmp.Diff(want, again.Readings()); diff != "" {
		t.Errorf("opened again:\n%s", diff)
	}
	if got := again.SourceFiles("issues"); len(got) != 4 || !strings.HasSuffix(got[0], filepath.Join("sources", strings.Repeat("b", 64), "issues.parquet")) {
		t.Errorf("source files %v", got)
	}
}

func TestReadingWithWrongSumsIsRefused(t *testing.T) {
	for name, spoil := range map[string]func(*Reading){
		"rows read":   func(r *Reading) { r.Read++ },
		"rows stored": func(r *Reading) { r.Accepted++; r.Rejected-- },
	} {
		s := open(t, t.TempDir(), true)
		_, stage := reading("a", "bank.csv", "", 5)
		err := s.CommitReading(func(dir string) (Reading, error) {
			r, err := stage(dir)
			spoil(&r)
			return r, err
		})
		if err == nil || !strings.Contains(err.Error(), "do not add up") {
			t.Errorf("%s: error %v", name, err)
		}
		if len(s.Readings()) != 0 {
			t.Errorf("%s: the reading was taken", name)
		}
	}
}

func TestSecondWriterIsToldWhoHasTheStore(t *testing.T) {
	defer func(d time.Duration) { LockWait = d }(LockWait)
	LockWait = 60 * time.Millisecond
	dir := t.TempDir()
	first := open(t, dir, true)
	for _, write := range []bool{true, false} {
		_, err := Open(dir, write)
		var locked *LockError
		if !errors.As(err, &locked) || !strings.Contains(err.Error(), fmt.Sprintf("process %d", os.Getpid())) {
			t.Errorf("error %v, want a LockError that names this process", err)
		}
	}
	// One that is let go while another waits.
	LockWait = 5 * time.Second
	closed := make(chan struct{})
	go func() { time.Sleep(100 * time.Millisecond); first.Close(); close(closed) }()
	second := open(t, dir, true)
	<-closed
	second.Close()
	// Many may read at once, and a writer waits for them.
	one, two := open(t, dir, false), open(t, dir, false)
	LockWait = 60 * time.Millisecond
	if _, err := Open(dir, true); err == nil || !strings.Contains(err.Error(), "reads it") {
		t.Errorf("error %v, want that somebody reads", err)
	}
	one.Close()
	two.Close()
	open(t, dir, true)
}

func TestOtherContractIsRefused(t *testing.T) {
	dir := t.TempDir()
	open(t, dir, true).Close()
	path := filepath.Join(dir, manifestName)
	if err := os.WriteFile(path, []byte(`{"contract": 99, "whatever": [1]}`), fileMode); err != nil {
		t.Fatal(err)
	}
	before := tree(t, dir)
	for _, write := range []bool{true, false} {
		_, err := Open(dir, write)
		var version *VersionError
		if !errors.As(err, &version) || version.Found != 99 {
			t.Errorf("error %v, want a VersionError", err)
		}
	}
	if diff := cmp.Diff(before, tree(t, dir)); diff != "" {
		t.Error(diff)
	}
}

func TestOpenRefuses(t *testing.T) {
	if _, err := Open(filepath.Join(t.TempDir(), "none"), false); err == nil || !strings.Contains(err.Error(), "thawline ingest") {
		t.Errorf("no store: error %v, want the next step", err)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "thesis.doc"), []byte("years of work"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(dir, true); err == nil || !strings.Contains(err.Error(), "thesis.doc") {
		t.Errorf("a folder of something else: error %v", err)
	}
	for name, text := range map[string]string{
		"torn":      `{"contract": 1, "rea`,
		"no number": `{}`,
		"outside":   fmt.Sprintf(`{"contract": %d, "readings": [], "layers": {}, "pending": [{"from": "staging/a", "to": "../../a"}]}`, contract.Version),
		"unknown":   fmt.Sprintf(`{"contract": %d, "readings": [], "layers": {}, "more": 1}`, contract.Version),
	} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, manifestName), []byte(text), fileMode); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(dir, true); err == nil || !strings.Contains(err.Error(), "cannot be read") {
			t.Errorf("%s: error %v", name, err)
		}
	}
}

func TestStoreOpenForReadingCannotBeChanged(t *testing.T) {
	dir := t.TempDir()
	open(t, dir, true).Close()
	s := open(t, dir, false)
	_, stage := reading("a", "bank.csv", "", 1)
	if s.CommitReading(stage) == nil || s.Retire("a") == nil || s.ReplaceLayer(context.Background(), "current", stageLayer(nil), LayerFacts{}) == nil {
		t.Error("a change was taken")
	}
}

func TestLayerFilesByTable(t *testing.T) {
	s := open(t, t.TempDir(), true)
	ctx := context.Background()
	if err := s.ReplaceLayer(ctx, "current", stageLayer(map[string]int{"issues.parquet": 1, "labs/inr/2026.parquet": 2, "labs/inr/2025.parquet": 3, "labs/hb/2026.parquet": 4}), LayerFacts{}); err != nil {
		t.Fatal(err)
	}
	for table, want := range map[string]string{
		"issues": "issues.parquet", "labs/inr": "labs/inr/2025.parquet labs/inr/2026.parquet",
		"labs": "labs/hb/2026.parquet labs/inr/2025.parquet labs/inr/2026.parquet", "events": "",
	} {
		var got []string
		for _, path := range s.LayerFiles("current", table) {
			relative, err := filepath.Rel(filepath.Join(s.Dir(), "current"), path)
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, filepath.ToSlash(relative))
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s: %v, want %s", table, got, want)
		}
	}
	for _, name := range []string{"sources", "../x", "packs/../current", "audit/", "packs/.."} {
		if err := s.ReplaceLayer(ctx, name, stageLayer(nil), LayerFacts{}); err == nil {
			t.Errorf("layer %q was taken", name)
		}
	}
}

func TestKeyIsMadeOnceAndIsPrivate(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, true)
	first, err := s.Key()
	if err != nil || len(first) != 32 {
		t.Fatalf("%d bytes, %v", len(first), err)
	}
	s.Close()
	again, err := open(t, dir, false).Key()
	if err != nil || string(again) != string(first) {
		t.Errorf("another key, or %v", err)
	}
	info, err := os.Stat(filepath.Join(dir, keyName))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
}

func TestStoreIsForOwnerAndGroupAlone(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "store")
	s := open(t, dir, true)
	_, stage := reading("a", "bank.csv", "", 1)
	if err := s.CommitReading(stage); err != nil {
		t.Fatal(err)
	}
	if err := s.ReplaceLayer(context.Background(), "current", stageLayer(map[string]int{"labs/inr/2026.parquet": 1}), LayerFacts{}); err != nil {
		t.Fatal(err)
	}
	err := filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := entry.Info()
		if err == nil && info.Mode().Perm()&0o007 != 0 {
			t.Errorf("%s: mode %v", path, info.Mode())
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestLayersAreReplacedTogether: where the second of two layers fails, the first
// is as before; else both are there, and a pack's folder lies inside the index's.
func TestLayersAreReplacedTogether(t *testing.T) {
	s := open(t, t.TempDir(), true)
	write := func(name, text string) func(dir string) ([]File, error) {
		return func(dir string) ([]File, error) {
			path := filepath.Join(dir, name)
			if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
				return nil, err
			}
			f, err := Describe(path)
			return []File{f}, err
		}
	}
	fail := func(string) ([]File, error) { return nil, errors.New("no") }
	pack := Replacement{"packs/2026-10", write("run.json", "{}"), &LayerFacts{From: "a"}}
	if err := s.ReplaceLayers(t.Context(), pack, Replacement{IndexLayer, fail, &LayerFacts{}}); err == nil || len(s.Packs()) != 0 {
		t.Errorf("after a failed stage: %v, packs %v", err, s.Packs())
	}
	if err := s.ReplaceLayers(t.Context(), pack, Replacement{IndexLayer, write("index.html", "first"), &LayerFacts{}}); err != nil {
		t.Fatal(err)
	}
	if err := s.ReplaceLayers(t.Context(), Replacement{IndexLayer, write("index.html", "second"), &LayerFacts{}}); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{"packs/index.html": "second", "packs/2026-10/run.json": "{}"} {
		if text, err := os.ReadFile(filepath.Join(s.Dir(), name)); err != nil || string(text) != want {
			t.Errorf("%s holds %q, %v", name, text, err)
		}
	}
	if packs := s.Packs(); len(packs) != 1 || len(s.Layer(IndexLayer)) != 1 {
		t.Errorf("packs %v, index %v", packs, s.Layer(IndexLayer))
	}
}
