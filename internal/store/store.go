package store

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/gofrs/flock"
	"github.com/google/renameio/v2"

	"thawline/internal/contract"
)

// Folders and files of a store beside the layers.
const (
	sourcesName = "sources"
	stagingName = "staging"
	lockName    = "lock"
	keyName     = "key"
	tempPrefix  = ".tmp-"
)

// LockWait is how long Open waits for another process to leave the store.
var LockWait = 10 * time.Second

// Store is an open store. It is not safe for concurrent use.
type Store struct {
	dir      string
	write    bool
	lock     *flock.Flock
	manifest *manifest
	readings map[string]Reading
	// byExport lists the ids of the readings of a table and an export's name or size,
	// once somebody has asked; nil after each change.
	byExport map[exportKey][]string
	// unread are readings whose description cannot be read.
	unread []Damage
}

// LockError says that another process has the store.
type LockError struct {
	// Dir is the store's folder; Holder says who has it, as far as is known.
	Dir, Holder string
}

// Error implements error.
func (e *LockError) Error() string {
	return fmt.Sprintf("store %s: in use by %s: wait until it has ended, then run this again", e.Dir, e.Holder)
}

// Open opens the store in dir. For writing it makes the store where there is
// none, finishes what an interrupted run had committed and removes what it had
// not; one process alone may have it so, others wait for LockWait and then get
// a *LockError. For reading, many processes may have it at once, and nothing on
// the disk changes. A store of another contract gives a *VersionError, one that
// lacks a file that its manifest names a *DamageError.
func Open(dir string, write bool) (*Store, error) {
	s, err := OpenDamaged(dir, write)
	if err != nil {
		return nil, err
	}
	if damages := s.Damages(); len(damages) > 0 {
		s.Close()
		return nil, &DamageError{dir, damages}
	}
	return s, nil
}

// OpenDamaged is Open of a store that may lack files: to tell which (Damages),
// and to take them out (Withdraw, DropLayers). A reading whose description is
// damaged is not among its Readings.
func OpenDamaged(dir string, write bool) (*Store, error) {
	s := &Store{dir: dir, write: write}
	if write {
		if err := os.MkdirAll(dir, folderMode); err != nil {
			return nil, fmt.Errorf("make the store's folder: %w", err)
		}
	} else if _, err := os.Stat(filepath.Join(dir, manifestName)); err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("store %s: there is no store here yet: run thawline ingest first, or correct store: in site.yaml", dir)
		}
		return nil, err
	}
	if err := s.takeLock(); err != nil {
		return nil, err
	}
	if err := s.load(); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

func (s *Store) load() error {
	m, err := readManifest(s.dir)
	if errors.Is(err, fs.ErrNotExist) && s.write {
		if err := s.mayBegin(); err != nil {
			return err
		}
		m = &manifest{Contract: contract.Version, Readings: []Entry{}, Layers: map[string]layer{}}
		err = m.write(s.dir)
	}
	if err != nil {
		return err
	}
	s.manifest = m
	if s.write {
		if err := s.rollForward(); err != nil {
			return err
		}
		if err := s.sweep(); err != nil {
			return fmt.Errorf("remove what an interrupted run left: %w", err)
		}
	}
	// Years of exports have a thousand readings, each described in a file of its own.
	readings, faults := make([]Reading, len(m.Readings)), make([]error, len(m.Readings))
	var workers sync.WaitGroup
	next := atomic.Int64{}
	for range min(runtime.GOMAXPROCS(0), len(m.Readings)) {
		workers.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(m.Readings)); i = next.Add(1) - 1 {
				readings[i], faults[i] = s.loadReading(m.Readings[i])
			}
		})
	}
	workers.Wait()
	s.readings = make(map[string]Reading, len(m.Readings))
	for i, entry := range m.Readings {
		if faults[i] != nil {
			damage := s.inReading(entry, readingName)
			damage.Found = faults[i].Error()
			s.unread = append(s.unread, damage)
			continue
		}
		s.readings[entry.ID] = readings[i]
	}
	return nil
}

// mayBegin refuses a folder that holds something else: what a store does not
// name is removed from it later, so that a wrong path could cost files.
func (s *Store) mayBegin() error {
	entries, err := os.ReadDir(s.dir)
	if err != nil {
		return err
	}
	for _, entry := range entries {
		name := entry.Name()
		if name != lockName && name != keyName && !strings.HasPrefix(name, "."+manifestName) && !strings.HasPrefix(name, "."+keyName) {
			return fmt.Errorf("store %s: the folder holds %q and no %s: name an empty or a new folder as store: in site.yaml", s.dir, name, manifestName)
		}
	}
	return nil
}

// takeLock takes the lock for one writer or for one of many readers.
func (s *Store) takeLock() error {
	path := filepath.Join(s.dir, lockName)
	s.lock = flock.New(path, flock.SetPermissions(fileMode))
	ctx, cancel := context.WithTimeout(context.Background(), LockWait)
	defer cancel()
	try := s.lock.TryRLockContext
	if s.write {
		try = s.lock.TryLockContext
	}
	taken, err := try(ctx, 20*time.Millisecond)
	switch {
	case taken && s.write:
		host, _ := os.Hostname()
		return os.WriteFile(path, fmt.Appendf(nil, "process %d on %s\n", os.Getpid(), host), fileMode)
	case taken:
		return nil
	case err == nil || errors.Is(err, context.DeadlineExceeded):
		s.lock.Close()
		return &LockError{s.dir, holder(path)}
	case !s.write && (errors.Is(err, fs.ErrPermission) || strings.Contains(err.Error(), "read-only")):
		// A store on a medium that cannot be written has no writer to wait for.
		s.lock = nil
		return nil
	}
	return fmt.Errorf("lock the store: %w", err)
}

// holder says who has the lock: a writer signs in the lock file, readers do not.
func holder(path string) string {
	const reader = "another process that reads it"
	text, err := os.ReadFile(path)
	if err != nil || len(text) == 0 {
		return reader
	}
	var pid int
	var host string
	if n, _ := fmt.Sscanf(string(text), "process %d on %s", &pid, &host); n == 2 {
		// A writer that was killed left its name; the lock itself went with it.
		if here, _ := os.Hostname(); host == here && errors.Is(syscall.Kill(pid, 0), syscall.ESRCH) {
			return reader
		}
	}
	return strings.TrimSpace(string(text))
}

// Close gives the store up. It may be called twice.
func (s *Store) Close() error {
	if s.lock == nil {
		return nil
	}
	lock := s.lock
	s.lock = nil
	if s.write {
		if s.manifest != nil && len(s.manifest.Pending) == 0 {
			os.RemoveAll(filepath.Join(s.dir, stagingName))
		}
		// Nobody has it now; without this a later reader would be taken for us.
		if err := os.Truncate(lock.Path(), 0); err != nil {
			lock.Close()
			return err
		}
	}
	return lock.Close()
}

// Dir returns the store's folder.
func (s *Store) Dir() string { return s.dir }

// TempDir returns a folder in the store for what a run needs for a while (it
// may hold records of patients). The next run that writes removes it. It is
// empty, meaning none, where the store is open for reading.
func (s *Store) TempDir() (string, error) {
	if !s.write {
		return "", nil
	}
	dir := filepath.Join(s.dir, stagingName, "temp")
	return dir, os.MkdirAll(dir, folderMode)
}

// Key returns the store's secret for keyed hashes, 32 random bytes, made on
// first use in a store open for writing.
func (s *Store) Key() ([]byte, error) {
	path := filepath.Join(s.dir, keyName)
	key, err := os.ReadFile(path)
	switch {
	case err == nil && len(key) == 32:
		return key, nil
	case err == nil:
		return nil, fmt.Errorf("%s: found %d bytes, wanted 32: bring it back from a backup, or remove it: pseudonyms in later packs will differ", path, len(key))
	case !errors.Is(err, fs.ErrNotExist):
		return nil, err
	case !s.write:
		return nil, fmt.Errorf("%s: not there yet: run thawline mark first, which makes it", path)
	}
	key = make([]byte, 32)
	rand.Read(key) // It never fails, by its documentation.
	if err := renameio.WriteFile(path, key, 0o600, renameio.WithStaticPermissions(0o600), renameio.WithTempDir(s.dir)); err != nil {
		return nil, fmt.Errorf("write %s: %w", path, err)
	}
	return key, syncDir(s.dir)
}

// mustWrite is the first check of every change.
func (s *Store) mustWrite() error {
	if !s.write || s.lock == nil {
		return errors.New("the store is not open for writing")
	}
	return nil
}

// sweep removes what the manifest does not name: staging folders, readings
// begun and not committed or retired, files of layers that were replaced.
func (s *Store) sweep() error {
	if err := os.RemoveAll(filepath.Join(s.dir, stagingName)); err != nil {
		return err
	}
	entries, err := os.ReadDir(s.dir)
	if err != nil {
		return err
	}
	for _, entry := range entries {
		if name := entry.Name(); strings.HasPrefix(name, "."+manifestName) || strings.HasPrefix(name, "."+keyName) {
			if err := os.Remove(filepath.Join(s.dir, name)); err != nil {
				return err
			}
		}
	}
	named := map[string]bool{}
	for _, list := range [][]Entry{s.manifest.Readings, s.manifest.Retired} {
		for _, r := range list {
			named[r.ID] = true
		}
	}
	entries, err = os.ReadDir(filepath.Join(s.dir, sourcesName))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for _, entry := range entries {
		if !named[entry.Name()] {
			if err := os.RemoveAll(filepath.Join(s.dir, sourcesName, entry.Name())); err != nil {
				return err
			}
		}
	}
	for _, name := range []string{"current", "audit"} {
		if err := s.sweepLayer(name); err != nil {
			return err
		}
	}
	return nil
}

// sweepLayer removes files that the manifest does not name from a layer's
// folder, and folders that are empty then: the folder is safe to glob.
func (s *Store) sweepLayer(name string) error {
	root := filepath.Join(s.dir, filepath.FromSlash(name))
	named := map[string]bool{}
	for _, f := range s.manifest.Layers[name].Files {
		named[filepath.Join(root, filepath.FromSlash(f.Path))] = true
	}
	var folders []string
	err := filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return nil
		case err != nil:
			return err
		case entry.IsDir():
			folders = append(folders, path)
			return nil
		case named[path]:
			return nil
		}
		return os.Remove(path)
	})
	if err != nil {
		return err
	}
	// Deepest first; a folder that holds something stays.
	for i := len(folders) - 1; i >= 0; i-- {
		left, err := os.ReadDir(folders[i])
		if err == nil && len(left) == 0 {
			err = os.Remove(folders[i])
		}
		if err != nil {
			return err
		}
	}
	return nil
}
