package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/store"
)

// desk is a folder with a site, as the person at it sees it.
type desk struct {
	t   *testing.T
	dir string
}

func newDesk(t *testing.T) desk {
	d := desk{t, t.TempDir()}
	for name, text := range map[string]string{"site.yaml": goodSite, "policy.yaml": "{}\n", "issues1.csv": goodIssues, "labs1.csv": goodLabs} {
		d.put(name, text)
	}
	return d
}

func (d desk) put(name, text string) {
	d.t.Helper()
	if err := os.WriteFile(filepath.Join(d.dir, name), []byte(text), 0o600); err != nil {
		d.t.Fatal(err)
	}
}

// says runs a verb, checks its exit code, and returns all that it said.
func (d desk) says(code exitCode, verb string, args ...string) string {
	d.t.Helper()
	var out, errOut bytes.Buffer
	if got := run(context.Background(), append([]string{verb, "--site", filepath.Join(d.dir, "site.yaml")}, args...), &out, &errOut); got != code {
		d.t.Fatalf("thawline %s %v: exit %d, want %d\n%s", verb, args, got, code, errOut.String())
	}
	text := out.String() + errOut.String()
	if strings.Contains(text, "SECRET") {
		d.t.Errorf("thawline %s names a patient:\n%s", verb, text)
	}
	return text
}

func (d desk) layer(name string) map[string]string {
	d.t.Helper()
	return hashes(d.t, filepath.Join(d.dir, "store", name))
}

func contains(t *testing.T, text string, wanted ...string) {
	t.Helper()
	for _, want := range wanted {
		if !strings.Contains(text, want) {
			t.Errorf("it does not say %q:\n%s", want, text)
		}
	}
}

const (
	moreLabs    = "Patient,Test,Result,Taken\nSECRET1,INR,3.3,10/03/2025 09:00\nSECRET2,INR,2.0,10/03/2024 09:00\n"
	mendedLabs  = "Patient,Test,Result,Taken\nSECRET2,INR,2.5,10/03/2024 09:00\n"
	labsOfYears = "labs2.csv (labs, reading "
)

// TestWithdrawnAsIfItHadNeverCome: a wrong export is taken back; current is
// byte for byte as before; and it does not come back by itself.
func TestWithdrawnAsIfItHadNeverCome(t *testing.T) {
	d := newDesk(t)
	d.says(exitDone, "ingest")
	before := d.layer("current")
	d.put("labs2.csv", moreLabs)
	d.says(exitDone, "ingest")
	with := d.layer("current")
	if cmp.Equal(before, with) {
		t.Fatal("the second export changed nothing")
	}

	contains(t, d.says(exitDone, "withdraw", "--dry-run", "labs2.csv"), "would go: "+labsOfYears, "2 rows of 2024-03 to 2025-03")
	if diff := cmp.Diff(with, d.layer("current")); diff != "" {
		t.Errorf("--dry-run changed current:\n%s", diff)
	}
	contains(t, d.says(exitDone, "withdraw", "labs2.csv"), "goes: "+labsOfYears, "next: thawline mark")
	if diff := cmp.Diff(before, d.layer("current")); diff != "" {
		t.Errorf("current is not as before:\n%s", diff)
	}
	contains(t, d.says(exitWrong, "withdraw", "labs2.csv"), "withdrawn already", "--forget")

	// It still lies in the inbox; each ingest says so and leaves it there.
	contains(t, d.says(exitDone, "ingest"), "labs2.csv: it was withdrawn", "withdraw --forget labs2.csv")
	contains(t, d.says(exitDone, "status"), "withdrawn: labs2.csv (labs, 2 rows read)")
	if diff := cmp.Diff(before, d.layer("current")); diff != "" {
		t.Errorf("ingest took it in again:\n%s", diff)
	}
	// A corrected export under the same name is another.
	d.put("labs2.csv", mendedLabs)
	contains(t, d.says(exitDone, "ingest"), "labs2.csv: 1 rows read = 1 accepted")
	// And the wrong bytes, should they come back, are refused still.
	d.put("labs2.csv", moreLabs)
	contains(t, d.says(exitDone, "ingest"), "labs2.csv: it was withdrawn")
	// The corrected one lies there no more: it cannot go by a slip.
	contains(t, d.says(exitWrong, "withdraw", "labs2.csv"), "no longer at labs2.csv", "--yes")
	d.says(exitDone, "withdraw", "--yes", "labs2.csv")
	if diff := cmp.Diff(before, d.layer("current")); diff != "" {
		t.Errorf("current is not as before:\n%s", diff)
	}
	// Lifted: the next ingest takes it, and the store is as it was with it.
	contains(t, d.says(exitDone, "withdraw", "--forget", "labs2.csv"), "lifted")
	d.says(exitDone, "ingest")
	if diff := cmp.Diff(with, d.layer("current")); diff != "" {
		t.Errorf("taken in again, current differs:\n%s", diff)
	}
}

// TestWithdrawOneOfTwo: an export was sent twice under one name, with other
// bytes: a name is not enough, and the reading's id is.
func TestWithdrawOneOfTwo(t *testing.T) {
	d := newDesk(t)
	d.put("labs2.csv", moreLabs)
	d.says(exitDone, "ingest")
	d.put("labs2.csv", mendedLabs)
	d.says(exitDone, "ingest")
	text := d.says(exitWrong, "withdraw", "labs2.csv")
	contains(t, text, "2 exports in the store are meant", "1 rows read", "2 rows read")
	var told struct {
		Sources []struct{ File, Reading string }
	}
	if err := json.Unmarshal([]byte(ask(t, "status", "--site", filepath.Join(d.dir, "site.yaml"), "--json")), &told); err != nil {
		t.Fatal(err)
	}
	ids := []string{}
	for _, src := range told.Sources {
		if src.File == "labs2.csv" {
			ids = append(ids, src.Reading)
			contains(t, text, src.Reading[:12])
		}
	}
	if len(ids) != 2 {
		t.Fatalf("%d readings of labs2.csv", len(ids))
	}
	d.says(exitDone, "withdraw", "--yes", ids[0][:12])
	contains(t, d.says(exitWrong, "withdraw", ids[0][:12]), "no export in the store")
	contains(t, d.says(exitWrong, "withdraw", "labs9.csv"), "thawline status --files")
}

// TestDamageIsMendedByTheStepItNames breaks files of the store as a disk or a
// hand may, does what the error says, and wants the store as it was.
func TestDamageIsMendedByTheStepItNames(t *testing.T) {
	d := newDesk(t)
	d.says(exitDone, "ingest")
	d.says(exitDone, "mark")
	contains(t, d.says(exitDone, "status", "--verify"), "as it was written")
	sound := hashes(t, filepath.Join(d.dir, "store"))
	spoil := func(pattern string, how func(path string) error) {
		t.Helper()
		paths, err := filepath.Glob(filepath.Join(d.dir, "store", pattern))
		if err != nil || len(paths) == 0 {
			t.Fatalf("%s: %d files, %v", pattern, len(paths), err)
		}
		if err := how(paths[0]); err != nil {
			t.Fatal(err)
		}
	}
	flip := func(path string) error {
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		text[len(text)/2] ^= 0x10
		return os.WriteFile(path, text, 0o640)
	}
	same := func(what string) {
		t.Helper()
		if diff := cmp.Diff(sound, hashes(t, filepath.Join(d.dir, "store"))); diff != "" {
			t.Errorf("%s is not as it was:\n%s", what, diff)
		}
		d.says(exitDone, "status", "--verify")
	}

	// A page of a Parquet file that has changed is seen by nobody but --verify.
	spoil("current/labs/inr/*.parquet", flip)
	contains(t, d.says(exitFailed, "status", "--verify"), "current/labs/inr/2025.parquet: its bytes have changed (SHA-256)", "thawline ingest --rebuild")
	d.says(exitDone, "ingest", "--rebuild")
	d.says(exitDone, "mark")
	same("current")

	spoil("audit/episodes.parquet", os.Remove)
	contains(t, d.says(exitFailed, "explain", "any"), "audit/episodes.parquet: the file is missing", "thawline mark --rebuild")
	contains(t, d.says(exitFailed, "mark"), "thawline mark --rebuild")
	d.says(exitDone, "mark", "--rebuild")
	same("audit")

	spoil("sources/*/labs-inr.parquet", os.Remove)
	text := d.says(exitFailed, "ingest")
	contains(t, text, "labs-inr.parquet: the file is missing", "withdraw --forget")
	_, id, _ := strings.Cut(text, "withdraw --forget ")
	id, _, _ = strings.Cut(id, ",")
	d.says(exitDone, "withdraw", "--forget", id)
	d.says(exitDone, "ingest")
	d.says(exitDone, "mark")
	same("sources")
}

// TestVersionsAndCopies: of two exports of one name the one that came last wins and
// either can be taken back alone; a copy under another name is one export with it.
func TestVersionsAndCopies(t *testing.T) {
	d := newDesk(t)
	inr := func() string {
		t.Helper()
		return strings.TrimSpace(ask(t, "query", "--site", filepath.Join(d.dir, "site.yaml"), "--format", "csv", "SELECT CAST(value AS VARCHAR) AS inr FROM labs WHERE patient_id = 'SECRET2'"))
	}
	one := func(value string) string { return strings.Replace(mendedLabs, "2.5", value, 1) }
	for _, value := range []string{"2.1", "2.2", "2.3"} {
		d.put("labs2.csv", one(value))
		d.says(exitDone, "ingest")
		if got := inr(); got != "inr\n"+value {
			t.Errorf("the export says %s, the store %q", value, got)
		}
	}
	contains(t, d.says(exitDone, "status", "--files"), "1 of 3\n", "2 of 3\n", "3 of 3, the newest, in the inbox\n")
	// Of the same size, but not the same: what stands there is another version.
	first := store.SHA256([]byte(one("2.1")))
	contains(t, d.says(exitWrong, "withdraw", first[:12]), "no longer at labs2.csv")
	if text := d.says(exitDone, "withdraw", "--dry-run", first[:12]); !strings.Contains(text, "would go: labs2.csv") || !strings.Contains(text, "without --yes this would be refused") {
		t.Errorf("it says:\n%s", text)
	}
	d.says(exitDone, "withdraw", "--yes", first[:12])
	contains(t, d.says(exitDone, "status", "--files"), "1 of 2\n", "2 of 2, the newest, in the inbox\n")

	// A copy is not read again; withdrawn, it does not come back under its other name.
	before := d.layer("current")
	d.put("labs0.csv", one("2.3"))
	contains(t, d.says(exitDone, "ingest"), "labs0.csv: the same bytes as labs2.csv, which is taken")
	if diff := cmp.Diff(before, d.layer("current")); diff != "" {
		t.Errorf("a copy changed current:\n%s", diff)
	}
	contains(t, d.says(exitWrong, "withdraw", "labs0.csv"), "labs0.csv: it holds the same bytes as labs2.csv", "withdraw labs2.csv, and neither")
	newest := store.SHA256([]byte(one("2.3")))
	text := d.says(exitDone, "withdraw", newest[:10])
	contains(t, text, "goes: "+labsOfYears, "labs0.csv lies in the inbox with the same bytes")
	if got := inr(); got != "inr\n2.2" {
		t.Errorf("the newest version is withdrawn: %q", got)
	}
	contains(t, d.says(exitDone, "ingest"), "labs0.csv: it was withdrawn", "labs2.csv: it was withdrawn")
	if got := inr(); got != "inr\n2.2" {
		t.Errorf("it came back: %q", got)
	}
}

// TestOrderThatNobodySees: a file that does not win over what was there before says so.
func TestOrderThatNobodySees(t *testing.T) {
	d := newDesk(t)
	d.put("labs Okt.csv", mendedLabs)
	d.says(exitDone, "ingest")
	// Of another feed of labs, and by its name the first: neither is told of rows that
	// it alone has.
	d.put("labs Nov.csv", strings.Replace(mendedLabs, "2.5", "2.6", 1)+"SECRET9,INR,2.0,10/03/2024 09:00\n")
	contains(t, d.says(exitDone, "ingest"), "labs Nov.csv: 1 of its rows of labs yield to rows of files that stand later: labs Okt.csv; a file whose name bears no date")
	contains(t, d.says(exitDone, "inspect"), "labs: 3 files have no date by a file_date", "so that labs1.csv wins over labs Nov.csv")
	d.put("labs Z.csv", strings.Replace(mendedLabs, "2.5", "2.7", 1))
	if text := d.says(exitDone, "ingest"); strings.Contains(text, "yield") {
		t.Errorf("what stands last yields to none:\n%s", text)
	}
}
