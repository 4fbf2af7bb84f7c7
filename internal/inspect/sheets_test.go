package inspect

import (
	"context"
	"os"
	"path/filepath"
	"testing"
)

// Each sheet of a workbook that is an export has a feed that names it; a sheet of
// notes is told of, and a hidden one is nobody's.
func TestSheetsOfOneWorkbook(t *testing.T) {
	text, err := os.ReadFile("../../testdata/workbooks/quarter.xlsx")
	if err != nil {
		t.Fatal(err)
	}
	paths := write(t, "quarter_2025-10-31.xlsx", string(text))
	found, err := Files(context.Background(), paths, Options{})
	if err != nil {
		t.Fatal(err)
	}
	tables := map[string]string{}
	for _, f := range found.Feeds {
		tables[f.Sheet] = f.Table
	}
	if len(found.Feeds) != 3 || tables["September"] != "labs" || tables["October"] != "labs" || tables["Weights"] != "measures" {
		t.Errorf("feeds of sheets %v, want September and October as labs and Weights as measures", tables)
	}
	said := everything(found)
	wantAll(t, said, "sheet: September", "sheet: October", "sheet: Weights", `(sheet "Notes"): not read`)
	for _, f := range found.Feeds {
		if f.Glob != filepath.ToSlash(filepath.Join(filepath.Dir(paths[0]), "quarter_*.xlsx")) || len(f.Undecided) > 0 && f.Table == "labs" && contains(f.Undecided, "also matches") {
			t.Errorf("sheet %s: glob %s, undecided %q", f.Sheet, f.Glob, f.Undecided)
		}
	}
	if contains([]string{said}, "Lists") {
		t.Error("a hidden sheet is proposed")
	}
}
