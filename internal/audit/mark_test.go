package audit

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/tools/txtar"

	"thawline/internal/contract"
	"thawline/internal/policy"
	"thawline/internal/store"
)

// storeOf makes a store whose layer current holds the tables of a case.
func storeOf(t *testing.T, file string) *store.Store {
	t.Helper()
	archive, err := txtar.ParseFile(file)
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	e := caseEngine(t)
	st, err := store.Open(filepath.Join(t.TempDir(), "store"), true)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	facts := store.LayerFacts{From: "case", Sums: map[string]int64{}}
	var files []store.File
	write := func(dir, name string, table *contract.Table) error {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			return err
		}
		w, err := store.NewWriter(path, table, table.Columns)
		if err != nil {
			return err
		}
		for record, err := range e.Records(ctx, name, "SELECT * FROM "+table.Name) {
			if err != nil {
				return err
			}
			if err := w.Write(record); err != nil {
				return err
			}
		}
		f, err := w.Close()
		files = append(files, f)
		return err
	}
	err = st.ReplaceLayer(ctx, "current", func(dir string) ([]store.File, error) {
		for _, part := range archive.Files {
			table := contract.Find(strings.TrimSuffix(part.Name, ".csv"))
			if table == nil {
				continue
			}
			if err := e.Load(ctx, table.Name, table.Columns, nil); err != nil {
				return nil, err
			}
			insert(t, e, table.Name, string(part.Data))
			facts.Sums[table.Name+"_read"] = 1
			name := table.Name + ".parquet"
			if table == contract.Labs {
				name = "labs/inr/2025.parquet"
			}
			if err := write(dir, name, table); err != nil {
				return nil, err
			}
		}
		err := write(dir, "recorded.parquet", contract.Recorded)
		return files, err
	}, facts)
	if err != nil {
		t.Fatal(err)
	}
	return st
}

func hashes(st *store.Store) map[string]string {
	all := map[string]string{}
	for _, f := range st.Layer("audit") {
		all[f.Name] = f.SHA256
	}
	return all
}

func TestMarkWritesWhatItCounts(t *testing.T) {
	ctx := context.Background()
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	at := clock{london, "Europe/London"}
	const file = "testdata/marks/worked-14.txtar"
	st := storeOf(t, file)
	first, err := mark(ctx, st, at, Given{Policy: policy.Default()})
	if err != nil {
		t.Fatal(err)
	}
	if first.UpToDate || first.Episodes != 3 || first.Marks["non-bleeding"] != 3 || first.Units != 4 || first.Fates["transfused"] != 4 || first.RulesNotRun == 0 {
		t.Errorf("the first marking says %+v", first)
	}
	before := hashes(st)
	if len(before) != len(contract.Audit()) {
		t.Errorf("%d files, want one a table of the audit (%d)", len(before), len(contract.Audit()))
	}
	again, err := mark(ctx, st, at, Given{Policy: policy.Default()})
	if err != nil {
		t.Fatal(err)
	}
	if !again.UpToDate || again.Episodes != first.Episodes || again.Findings != first.Findings || again.RulesRun != first.RulesRun {
		t.Errorf("nothing changed, but the second marking says %+v after %+v", again, first)
	}
	changed := policy.Default()
	if err := changed.Set("dose_low", "3"); err != nil {
		t.Fatal(err)
	}
	other, err := mark(ctx, st, at, Given{Policy: changed})
	if err != nil {
		t.Fatal(err)
	}
	if other.UpToDate || hashes(st)["episodes"] == before["episodes"] {
		t.Error("a changed policy left the episodes as they were")
	}
	// The same records, policy and program give the same bytes in another store.
	twin := storeOf(t, file)
	if _, err := mark(ctx, twin, at, Given{Policy: policy.Default()}); err != nil {
		t.Fatal(err)
	}
	for name, hash := range hashes(twin) {
		if before[name] != hash {
			t.Errorf("%s differs between two stores of the same records", name)
		}
	}
}
