package store

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// orderOf are the first letters of the ids of a store's readings, in source order.
func orderOf(s *Store) string {
	text := ""
	for _, r := range s.Readings() {
		text += r.ID[:1]
	}
	return text
}

// TestVersionsOfOneName: of exports of one name the order is that in which they
// came, until an older one is made the newest; it outlives the process.
func TestVersionsOfOneName(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, true)
	for _, letter := range []string{"c", "a", "b"} {
		_, stage := reading(letter, "bank.csv", "", 1)
		if err := s.CommitReading(stage); err != nil {
			t.Fatal(err)
		}
	}
	_, stage := reading("9", "a.csv", "", 1)
	if err := s.CommitReading(stage); err != nil {
		t.Fatal(err)
	}
	if got := orderOf(s); got != "9cab" {
		t.Errorf("order %s, want 9cab", got)
	}
	// The same bytes by another map keep their place.
	_, again := reading("c", "bank.csv", "", 1)
	err := s.CommitReading(func(dir string) (Reading, error) {
		r, err := again(dir)
		r.ID = strings.Repeat("d", 64)
		return r, err
	}, strings.Repeat("c", 64))
	if got := orderOf(s); err != nil || got != "9dab" {
		t.Errorf("order %s, want 9dab (%v)", got, err)
	}
	for range 2 {
		if err := s.MakeNewest("issues", "bank.csv", strings.Repeat("a", 64)); err != nil {
			t.Fatal(err)
		}
	}
	// A name without such bytes, and a table without such a name, stay as they are.
	for _, of := range [][3]string{{"issues", "a.csv", "a"}, {"labs", "bank.csv", "c"}} {
		if err := s.MakeNewest(of[0], of[1], strings.Repeat(of[2], 64)); err != nil {
			t.Fatal(err)
		}
	}
	want := "9dba"
	if got := orderOf(s); got != want {
		t.Errorf("order %s, want %s", got, want)
	}
	s.Close()
	if got := orderOf(open(t, dir, false)); got != want {
		t.Errorf("opened again: order %s, want %s", got, want)
	}
}

// TestStoreWithoutVersions: a store that an older program made opens, its exports
// of one name in the order of their hashes, and what comes is the newest.
func TestStoreWithoutVersions(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, true)
	for _, letter := range []string{"c", "b"} {
		_, stage := reading(letter, "bank.csv", "", 1)
		if err := s.CommitReading(stage); err != nil {
			t.Fatal(err)
		}
	}
	s.Close()
	path := filepath.Join(dir, manifestName)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	bare := regexp.MustCompile(`(?m)^\s*"version": \d+,\n`).ReplaceAll(text, nil)
	if len(bare) == len(text) {
		t.Fatal("the manifest has no versions")
	}
	if err := os.WriteFile(path, bare, 0o640); err != nil {
		t.Fatal(err)
	}
	s = open(t, dir, true)
	if got := orderOf(s); got != "bc" {
		t.Errorf("order %s, want bc", got)
	}
	_, stage := reading("a", "bank.csv", "", 1)
	if err := s.CommitReading(stage); err != nil {
		t.Fatal(err)
	}
	if got := orderOf(s); got != "bca" {
		t.Errorf("order %s, want bca", got)
	}
}
