package ingest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A folder that cannot be read is no empty one. (Whether a folder may be read is
// nothing to the superuser, as whom tests may run: what is no folder serves too.)
func TestFoldersThatCannotBeRead(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"in/a", "in/b"} {
		if err := os.MkdirAll(filepath.Join(dir, name), 0o750); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"file", "in/c", "in/a/x.csv"} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for pattern, want := range map[string]int{"in/*.csv": 0, "in/a/x.csv": 0, "in/*/*.csv": 0, "none/*.csv": 0, "none/x.csv": 0, "in/b/*": 0, "file/*.csv": 1, "file/x.csv": 1, "file/*/x.csv": 1} {
		if faults := unreadable(filepath.Join(dir, pattern)); len(faults) != want || want > 0 && !strings.Contains(faults[0].Error(), "file cannot be read, wanted a folder of exports: not a directory") {
			t.Errorf("%s: %v, want %d", pattern, faults, want)
		}
	}
	if os.Getuid() != 0 {
		if err := os.Chmod(filepath.Join(dir, "in/b"), 0); err != nil {
			t.Fatal(err)
		}
		if faults := unreadable(filepath.Join(dir, "in/*/*.csv")); len(faults) != 1 || !strings.Contains(faults[0].Error(), "permission denied") {
			t.Errorf("%v", faults)
		}
	}
}
