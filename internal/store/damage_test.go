package store

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// filled makes a store of two readings, a layer current and a layer audit.
func filled(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	s := open(t, dir, true)
	for _, letter := range []string{"a", "b"} {
		_, stage := reading(letter, "bank_"+letter+".csv", "", 5)
		if err := s.CommitReading(stage); err != nil {
			t.Fatal(err)
		}
	}
	ctx := context.Background()
	if err := s.ReplaceLayer(ctx, "current", stageLayer(map[string]int{"issues.parquet": 10, "labs/inr/2025.parquet": 11}), LayerFacts{From: "one"}); err != nil {
		t.Fatal(err)
	}
	if err := s.ReplaceLayer(ctx, "audit", stageLayer(map[string]int{"episodes.parquet": 5}), LayerFacts{From: "two"}); err != nil {
		t.Fatal(err)
	}
	if err := s.ReplaceLayer(ctx, "packs/2026-10", stageLayer(map[string]int{"marks.parquet": 5}), LayerFacts{From: "three"}); err != nil {
		t.Fatal(err)
	}
	s.Close()
	return dir
}

// Every file that a store names is damaged in turn, in three ways: it is told
// by its path, with the next step, and that step makes the store whole.
func TestEveryDamageIsToldAndMended(t *testing.T) {
	ctx := context.Background()
	whole := filled(t)
	s := open(t, whole, false)
	if found, err := s.Verify(ctx, nil); err != nil || len(found) != 0 {
		t.Fatalf("a whole store: %v %v", found, err)
	}
	s.Close()
	a := "sources/" + strings.Repeat("a", 64) + "/"
	for _, c := range []struct{ path, next string }{
		{a + "issues.parquet", "withdraw --forget aaaaaaaaaaaa"},
		{a + "reading.json", "withdraw --forget aaaaaaaaaaaa"},
		{a + "set_aside.json", "withdraw --forget aaaaaaaaaaaa"},
		{a + "told.bin", "withdraw --forget aaaaaaaaaaaa"},
		{"current/issues.parquet", "ingest --rebuild"},
		{"current/labs/inr/2025.parquet", "ingest --rebuild"},
		{"audit/episodes.parquet", "mark --rebuild"},
	} {
		for _, how := range []string{"missing", "cut", "changed"} {
			t.Run(c.path[max(0, len(c.path)-20):]+" "+how, func(t *testing.T) {
				dir := filled(t)
				path := filepath.Join(dir, filepath.FromSlash(c.path))
				text, err := os.ReadFile(path)
				if err != nil {
					t.Fatal(err)
				}
				switch how {
				case "missing":
					err = os.Remove(path)
				case "cut":
					err = os.WriteFile(path, text[:len(text)-1], fileMode)
				case "changed":
					text[len(text)/2] ^= 1
					err = os.WriteFile(path, text, fileMode)
				}
				if err != nil {
					t.Fatal(err)
				}
				// A changed byte of a Parquet file is seen by reading it alone.
				onlyRead := how == "changed" && (strings.HasSuffix(c.path, ".parquet") || strings.HasSuffix(c.path, toldName))
				for _, write := range []bool{false, true} {
					s, err := Open(dir, write)
					if err == nil {
						s.Close()
					}
					var damage *DamageError
					if onlyRead {
						if err != nil {
							t.Errorf("error %v", err)
						}
					} else if !errors.As(err, &damage) || len(damage.Damages) != 1 || !strings.Contains(err.Error(), c.next) || !strings.Contains(err.Error(), strings.TrimSuffix(c.path, "set_aside.json")) {
						t.Errorf("error %v, want one that names %s and %s", err, c.path, c.next)
					}
				}
				s, err := OpenDamaged(dir, true)
				if err != nil {
					t.Fatal(err)
				}
				defer s.Close()
				found, err := s.Verify(ctx, nil)
				if err != nil || len(found) != 1 || !strings.Contains(found[0].Next, c.next) {
					t.Fatalf("verify: %v %v", found, err)
				}
				if found[0].Reading != "" {
					err = s.Withdraw(found[0].Reading)
				} else {
					err = s.DropLayers(found[0].Layer)
				}
				if err != nil {
					t.Fatal(err)
				}
				if found, err := s.Verify(ctx, nil); err != nil || len(found) != 0 {
					t.Errorf("after the next step: %v %v", found, err)
				}
				// A retired reading is deleted once current is known not to hold it.
				if retired, _ := s.Retired(); len(retired) > 0 && found[0].Reading == "" {
					t.Error("a reading was retired")
				}
				if err := s.DropRetired(); err != nil {
					t.Fatal(err)
				}
				s.Close()
				open(t, dir, false)
				if _, err := os.Stat(filepath.Join(dir, filepath.FromSlash(filepath.Dir(c.path)))); err == nil {
					t.Error("the damaged folder is still there")
				}
			})
		}
	}
}

// A retired reading can be read until current is made anew, and is gone then;
// taken in again before, it is a reading like any other.
func TestRetiredStaysUntilCurrentIsNew(t *testing.T) {
	ctx := context.Background()
	dir := filled(t)
	s := open(t, dir, true)
	a, again := reading("a", "bank_a.csv", "", 5)
	folder := filepath.Join(dir, "sources", a)
	retire := func() {
		t.Helper()
		if err := s.Retire(a); err != nil {
			t.Fatal(err)
		}
		s.Close()
		s = open(t, dir, true) // It sweeps.
		if retired, whole := s.Retired(); !whole || len(retired) != 1 || retired[0].ID != a || len(s.Readings()) != 1 || !exists(retired[0].FilePath("issues")) {
			t.Errorf("retired %v, whole %t, %d readings", retired, whole, len(s.Readings()))
		}
	}
	retire()
	if err := s.CommitReading(again); err != nil {
		t.Fatal(err)
	}
	if retired, _ := s.Retired(); len(retired) != 0 || len(s.Readings()) != 2 {
		t.Errorf("retired %v, %d readings", retired, len(s.Readings()))
	}
	retire()
	if err := s.ReplaceLayer(ctx, "audit", stageLayer(map[string]int{"episodes.parquet": 6}), LayerFacts{}); err != nil || !exists(folder) {
		t.Errorf("error %v; the reading went with another layer", err)
	}
	if err := s.ReplaceLayer(ctx, "current", stageLayer(map[string]int{"issues.parquet": 6}), LayerFacts{}); err != nil || exists(folder) {
		t.Errorf("error %v, or the reading is still there", err)
	}
	// One that is damaged says nothing.
	b := strings.Repeat("b", 64)
	if err := s.Retire(b); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(filepath.Join(dir, "sources", b, "issues.parquet"), 9); err != nil {
		t.Fatal(err)
	}
	if retired, whole := s.Retired(); whole {
		t.Errorf("a damaged reading counts as whole: %v", retired)
	}
}

// A pack that somebody moved away stops nothing: it is named where all is read.
func TestAPackThatIsGoneStopsNothing(t *testing.T) {
	dir := filled(t)
	if err := os.RemoveAll(filepath.Join(dir, "packs", "2026-10")); err != nil {
		t.Fatal(err)
	}
	found, err := open(t, dir, false).Verify(context.Background(), nil)
	if err != nil || len(found) != 1 || found[0].Path != "packs/2026-10/marks.parquet" || !strings.Contains(found[0].Next, "report --period 2026-10") {
		t.Errorf("%v %v", found, err)
	}
}

func TestWithdrawnIsRememberedAndForgotten(t *testing.T) {
	dir := filled(t)
	s := open(t, dir, true)
	if err := s.Withdraw(strings.Repeat("b", 64), strings.Repeat("f", 64)); err != nil {
		t.Fatal(err)
	}
	s.Close()
	s = open(t, dir, true)
	want := []Withdrawal{{Table: "issues", File: "bank_b.csv", SHA256: strings.Repeat("b", 64), Read: 8}}
	if diff := cmp.Diff(want, s.Withdrawn()); diff != "" || len(s.Readings()) != 1 {
		t.Errorf("%d readings; %s", len(s.Readings()), diff)
	}
	if err := s.Forget(func(w Withdrawal) bool { return w.File == "bank_b.csv" }); err != nil || len(s.Withdrawn()) != 0 {
		t.Errorf("%v, error %v", s.Withdrawn(), err)
	}
	s.Close()
	if got := open(t, dir, false).Withdrawn(); len(got) != 0 {
		t.Errorf("%v", got)
	}
}
