package ingest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/store"
)

// filesOf lists the exports of readings in source order, each with the patient
// that its bytes tell of.
func filesOf(t *testing.T, s *siteOfPatients, readings []store.Reading) string {
	t.Helper()
	var some []string
	for _, r := range readings {
		some = append(some, strings.TrimSuffix(strings.TrimPrefix(r.File, "patients_"), ".csv")+":"+s.told[r.SHA256])
	}
	return strings.Join(some, " ")
}

// siteOfPatients keeps what was put into the inbox under which words.
type siteOfPatients struct {
	told map[string]string
	put  func(name, patient string)
	gone func(name string)
	// taken runs ingest and wants those readings; it returns what it noted.
	taken func(want string) string
}

func newSiteOfPatients(t *testing.T) *siteOfPatients {
	s := hospital(t)
	s.Feeds[0].FileDate = nil
	here := &siteOfPatients{told: map[string]string{}}
	here.put = func(name, patient string) {
		t.Helper()
		text := header
		for _, p := range strings.Split(patient, "+") {
			if p != "" {
				text += p + ",1950-01-02,F\n"
			}
		}
		here.told[store.SHA256([]byte(text))] = patient
		path := filepath.Join(s.Dir, "inbox", filepath.Dir(name), "patients_"+filepath.Base(name)+".csv")
		if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o640); err != nil {
			t.Fatal(err)
		}
	}
	here.gone = func(name string) {
		t.Helper()
		if err := os.Remove(filepath.Join(s.Dir, "inbox", filepath.Dir(name), "patients_"+filepath.Base(name)+".csv")); err != nil {
			t.Fatal(err)
		}
	}
	here.taken = func(want string) string {
		t.Helper()
		report, readings, _, err := run1(t, s)
		if err != nil {
			t.Fatal(err)
		}
		if got := filesOf(t, here, readings); got != want {
			t.Errorf("readings %q, want %q\n%s", got, want, strings.Join(report.Notes, "\n"))
		}
		// Nothing has come since: nothing changes.
		again, after, _, err := run1(t, s)
		if err != nil || !cmp.Equal(readings, after) {
			t.Errorf("a second run changed the store (%v): %v", err, again.Notes)
		}
		return strings.Join(report.Notes, "\n")
	}
	return here
}

func noted(t *testing.T, notes string, want ...string) {
	t.Helper()
	if len(want) == 0 && notes != "" {
		t.Errorf("notes %q, want none", notes)
	}
	for _, w := range want {
		if !strings.Contains(notes, w) {
			t.Errorf("notes %q, want %q", notes, w)
		}
	}
}

// TestVersionsOfAName: whatever the hashes, the export that came last under a name
// is the newest, and one that is put back is the newest again.
func TestVersionsOfAName(t *testing.T) {
	s := newSiteOfPatients(t)
	s.put("a", "P0")
	noted(t, s.taken("a:P0"))
	want := "a:P0"
	for _, patient := range []string{"P1", "P2", "P3", "P4"} {
		s.put("a", patient)
		want += " a:" + patient
		noted(t, s.taken(want), "patients_a.csv: it had come before with other bytes", "this one wins", "thawline withdraw ")
	}
	s.put("a", "P1")
	noted(t, s.taken("a:P0 a:P2 a:P3 a:P4 a:P1"), "is the newest of patients again")
	s.put("a", "P5")
	noted(t, s.taken("a:P0 a:P2 a:P3 a:P4 a:P1 a:P5"), "other bytes")
}

// TestVersionsOfOneRun: two files of one name that lie there at once stand in the
// order of their hashes, whatever their folders are called.
func TestVersionsOfOneRun(t *testing.T) {
	for _, folders := range [][2]string{{"x", "y"}, {"y", "x"}} {
		s := hospital(t)
		s.Feeds[0].FileDate = nil
		s.Feeds[0].Files = filepath.Join(s.Dir, "inbox", "*", "patients.csv")
		texts := []string{header + "P1,1950-01-02,F\n", header + "P2,1950-01-02,F\n"}
		if store.SHA256([]byte(texts[0])) > store.SHA256([]byte(texts[1])) {
			texts[0], texts[1] = texts[1], texts[0]
		}
		for i, folder := range folders {
			if err := os.MkdirAll(filepath.Join(s.Dir, "inbox", folder), 0o750); err != nil {
				t.Fatal(err)
			}
			put(t, s, filepath.Join(folder, "patients.csv"), texts[i])
		}
		for range 2 {
			_, readings, _, err := run1(t, s)
			if err != nil || len(readings) != 2 || readings[0].SHA256 != store.SHA256([]byte(texts[0])) || readings[1].Version != 2 {
				t.Errorf("%v: %v %+v", folders, err, readings)
			}
		}
	}
}

// TestRenamed: a renamed file is one export, and so is a copy.
func TestRenamed(t *testing.T) {
	s := newSiteOfPatients(t)
	s.put("b", "P1")
	s.taken("b:P1")
	// A copy beside it: the one that stands later is read.
	s.put("c", "P1")
	noted(t, s.taken("c:P1"), "patients_b.csv: the same bytes as patients_c.csv, which is taken: not read a second time")
	s.put("a", "P1")
	noted(t, s.taken("c:P1"), "patients_a.csv: the same bytes as patients_c.csv", "patients_b.csv: the same bytes")
	// Two of them go; the name that is left stands for all.
	s.gone("c")
	s.gone("b")
	noted(t, s.taken("a:P1"), "patients_a.csv: the same bytes as patients_c.csv, which is no longer in its place")
	// What lay there before the last version gets a name of its own.
	s.put("a", "P2")
	s.taken("a:P1 a:P2")
	s.put("z", "P1")
	noted(t, s.taken("a:P2 z:P1"), "patients_z.csv: the same bytes as patients_a.csv, which is no longer in its place")
	// All at once, and without rows: the name tells which month held nothing.
	s.put("m", "P3")
	s.put("n", "P3")
	s.put("e1", "")
	s.put("e2", "")
	noted(t, s.taken("a:P2 e1: e2: n:P3 z:P1"), "patients_m.csv: the same bytes as patients_n.csv")
}
