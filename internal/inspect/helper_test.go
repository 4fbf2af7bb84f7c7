package inspect

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// write puts files (name, text, …) into a new folder and returns their paths.
func write(t *testing.T, files ...string) []string {
	t.Helper()
	dir := t.TempDir()
	var paths []string
	for i := 0; i < len(files); i += 2 {
		path := filepath.Join(dir, files[i])
		if err := os.WriteFile(path, []byte(files[i+1]), 0o600); err != nil {
			t.Fatal(err)
		}
		paths = append(paths, path)
	}
	return paths
}

// look looks at files given as write takes them.
func look(t *testing.T, files ...string) *Findings {
	t.Helper()
	found, err := Files(context.Background(), write(t, files...), Options{})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// everything is all that a person sees of findings.
func everything(f *Findings) string {
	return strings.Join(f.Lines(), "\n") + "\n" + f.Proposal(Site{})
}

func wantAll(t *testing.T, text string, wanted ...string) {
	t.Helper()
	for _, w := range wanted {
		if !strings.Contains(text, w) {
			t.Errorf("no %q in:\n%s", w, text)
		}
	}
}

func contains(lines []string, text string) bool {
	for _, line := range lines {
		if strings.Contains(line, text) {
			return true
		}
	}
	return false
}
