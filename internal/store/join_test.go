package store

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/parquet/file"
)

// cutFile writes rows into one file, with a cut after each of cuts, and returns
// the pieces.
func cutFile(t *testing.T, path string, record arrow.Record, cuts ...int64) []Piece {
	t.Helper()
	w, err := NewWriter(path, kinds, kinds.Columns)
	if err != nil {
		t.Fatal(err)
	}
	var pieces []Piece
	from, groups := int64(0), 0
	for _, to := range append(cuts, record.NumRows()) {
		some := record.NewSlice(from, to)
		if err := w.Write(some); err != nil {
			t.Fatal(err)
		}
		some.Release()
		n, err := w.Cut()
		if err != nil {
			t.Fatal(err)
		}
		pieces = append(pieces, Piece{path, groups, n - groups})
		from, groups = to, n
	}
	if err := w.CloseScratch(); err != nil {
		t.Fatal(err)
	}
	return pieces
}

func joinTo(t *testing.T, path string, pieces ...Piece) File {
	t.Helper()
	f, err := Join(path, kinds, kinds.Columns, pieces)
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(path)
	if err != nil || SHA256(text) != f.SHA256 || int64(len(text)) != f.Bytes {
		t.Fatalf("%+v is not what was written (%v)", f, err)
	}
	return f
}

func TestJoin(t *testing.T) {
	dir := t.TempDir()
	record := rowsOf(RowGroup + 3000)
	defer record.Release()
	in := func(name string) string { return filepath.Join(dir, name+".parquet") }
	// The middle piece has two row groups; a cut after no row makes none.
	all := cutFile(t, in("scratch"), record, 1000, 1000, RowGroup+2000)
	if all[1].Groups != 0 || all[2].Groups != 2 {
		t.Fatalf("pieces %+v", all)
	}
	whole := joinTo(t, in("whole"), all...)
	// From two files of other cuts, one of them a joined one, in which the pieces stand elsewhere.
	tail := record.NewSlice(RowGroup+2000, record.NumRows())
	defer tail.Release()
	other := cutFile(t, in("other"), tail)
	again := joinTo(t, in("again"), Piece{whole.Path, 0, 3}, other[0])
	if again.SHA256 != whole.SHA256 || again.Rows != record.NumRows() {
		t.Errorf("%d rows joined from other files differ from %d rows joined at once", again.Rows, whole.Rows)
	}
	// Readers find every value where it was, and the rows in their order.
	e := start(t)
	literals(t, e, "literal", record)
	read := "read_parquet('" + again.Path + "')"
	for _, query := range []string{
		"SELECT count(*) FROM (SELECT * FROM literal EXCEPT ALL SELECT * FROM " + read + ")",
		"SELECT count(*) FROM (SELECT * FROM " + read + " EXCEPT ALL SELECT * FROM literal)",
		"SELECT count(*) FROM (SELECT source_row, lag(source_row) OVER () AS before FROM " + read + ") WHERE source_row <= before",
	} {
		if got := one(t, e, query); got != int64(0) {
			t.Errorf("%s gives %v", query, got)
		}
	}
	if got := one(t, e, "SELECT count(*) FROM parquet_kv_metadata('"+again.Path+"')"); got != int64(3) {
		t.Errorf("%v facts stand in the footer, want 3", got)
	}
	reader, err := file.OpenParquetFile(again.Path, false)
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Close()
	end := int64(0)
	for i := range reader.NumRowGroups() {
		group := reader.MetaData().RowGroup(i)
		if group.Ordinal() != int16(i) || group.FileOffset() < end {
			t.Errorf("row group %d says that it is %d and begins at %d, the last one ended at %d", i, group.Ordinal(), group.FileOffset(), end)
		}
		end = group.FileOffset() + group.TotalCompressedSize()
	}
}

func TestJoinRefuses(t *testing.T) {
	dir := t.TempDir()
	record := rowsOf(3000)
	defer record.Release()
	in := func(name string) string { return filepath.Join(dir, name+".parquet") }
	pieces := cutFile(t, in("scratch"), record)
	text, err := os.ReadFile(in("scratch"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(in("short"), append(text[:10:10], text[len(text)-3000:]...), 0o600); err != nil {
		t.Fatal(err)
	}
	fewer, err := NewWriter(in("fewer"), kinds, kinds.Columns[:3])
	if err != nil {
		t.Fatal(err)
	}
	if err := fewer.CloseScratch(); err != nil {
		t.Fatal(err)
	}
	for name, p := range map[string]Piece{
		"cannot be opened":  {in("nowhere"), 0, 1},
		"too many groups":   {in("scratch"), 0, 2},
		"pages are missing": {in("short"), 0, 1},
		"other columns":     {in("fewer"), 0, 0},
	} {
		if _, err := Join(in("joined"), kinds, kinds.Columns, []Piece{pieces[0], p}); err == nil {
			t.Errorf("%s: no error", name)
		} else if !strings.Contains(err.Error(), "copy a part of") {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := os.Stat(in("joined")); err == nil {
			t.Errorf("%s: the file is still there", name)
		}
	}
}
