package store

import (
	"context"
	"fmt"
	"math/rand"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/decimal128"
	"github.com/apache/arrow/go/v17/arrow/memory"

	"thawline/internal/contract"
	"thawline/internal/engine"
)

// kinds is a table of our own with every kind, required and not.
var kinds = &contract.Table{
	Name: "kinds", Doc: "Every kind of column.", Row: "a row", Key: []string{"source_row"},
	Columns: []contract.Column{
		{Name: "source_row", Kind: contract.Int, Required: true, Doc: "line"},
		{Name: "patient_id", Kind: contract.Text, Required: true, Identifies: true, Doc: "many values"},
		{Name: "word", Kind: contract.Text, Codes: []string{"ä", "b"}, Doc: "few values"},
		{Name: "real", Kind: contract.Real, Unit: "g/L", Doc: "measurement"},
		{Name: "volume", Kind: contract.Decimal, Unit: "mL", Doc: "summed"},
		{Name: "volume_needed", Kind: contract.Decimal, Required: true, Unit: "mL", Doc: "summed"},
		{Name: "issued_at", Kind: contract.Instant, Required: true, Doc: "time"},
		{Name: "ended_at", Kind: contract.Instant, Doc: "mostly absent time"},
		{Name: "never_at", Kind: contract.Instant, Doc: "always absent time"},
		{Name: "never", Kind: contract.Text, Doc: "always absent word"},
		{Name: "issued_local", Kind: contract.Local, Doc: "wall clock"},
		{Name: "birth_date", Kind: contract.Date, Doc: "day"},
		{Name: "given", Kind: contract.Bool, Doc: "yes or no"},
		{Name: "number", Kind: contract.Int, Doc: "whole number, negative ones too"},
	},
}

// rowsOf makes n rows with a fixed seed: extremes, nulls, times before 1970.
func rowsOf(n int) arrow.Record {
	random := rand.New(rand.NewSource(1))
	b := array.NewRecordBuilder(memory.DefaultAllocator, contract.Schema(kinds.Columns))
	defer b.Release()
	for i := range n {
		for place, c := range kinds.Columns {
			field := b.Field(place)
			if strings.HasPrefix(c.Name, "never") || !c.Required && random.Intn(4) == 0 || c.Name == "ended_at" && random.Intn(50) > 0 {
				field.AppendNull()
				continue
			}
			switch f := field.(type) {
			case *array.Int64Builder:
				if c.Name == "source_row" {
					f.Append(int64(i + 2))
				} else {
					f.Append(random.Int63() - random.Int63())
				}
			case *array.StringBuilder:
				if c.Name == "word" {
					f.Append([]string{"ä", "b", ""}[random.Intn(3)])
				} else {
					f.Append(fmt.Sprintf("P%07d", random.Intn(3*n)))
				}
			case *array.Float64Builder:
				f.Append([]float64{0, -1.5, 1e-9, 0.1, random.NormFloat64()}[random.Intn(5)])
			case *array.Decimal128Builder:
				f.Append(decimal128.FromI64([]int64{0, -1, 275_125, decimalLimit - 1, 1 - decimalLimit}[random.Intn(5)]))
			case *array.TimestampBuilder:
				f.Append(arrow.Timestamp(random.Int63n(4e15) - 1e15))
			case *array.Date32Builder:
				f.Append(arrow.Date32(random.Intn(40000) - 20000))
			case *array.BooleanBuilder:
				f.Append(random.Intn(2) == 0)
			default:
				panic(fmt.Sprintf("%T", f))
			}
		}
	}
	return b.NewRecord()
}

func write(t *testing.T, path string, record arrow.Record, split int) File {
	t.Helper()
	w, err := NewWriter(path, kinds, kinds.Columns)
	if err != nil {
		t.Fatal(err)
	}
	for from := int64(0); from < record.NumRows(); from += int64(split) {
		part := record.NewSlice(from, min(record.NumRows(), from+int64(split)))
		if err := w.Write(part); err != nil {
			t.Fatal(err)
		}
		part.Release()
	}
	f, err := w.Close()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func start(t *testing.T) *engine.Engine {
	t.Helper()
	e, err := engine.Open(context.Background(), engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { e.Close() })
	return e
}

// one returns the single cell that a query gives.
func one(t *testing.T, e *engine.Engine, query string) any {
	t.Helper()
	_, rows, err := e.Rows(context.Background(), "test", query)
	if err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	if len(rows) != 1 || len(rows[0]) != 1 {
		t.Fatalf("%s: %v, want one cell", query, rows)
	}
	return rows[0][0]
}

// literals loads record into the engine without Parquet, as the other side of
// the comparison.
func literals(t *testing.T, e *engine.Engine, name string, record arrow.Record) {
	t.Helper()
	// Decimals and times go in as whole numbers, and become what they are in SQL.
	columns := make([]contract.Column, len(kinds.Columns))
	picks := make([]string, len(columns))
	for i, c := range kinds.Columns {
		picks[i] = engine.Name(c.Name)
		switch c.Kind {
		case contract.Decimal:
			picks[i] = fmt.Sprintf("CASE WHEN %[1]s IS NULL THEN NULL ELSE (CASE WHEN %[1]s < 0 THEN '-' ELSE '' END || (abs(%[1]s) // 1000) || '.' || lpad((abs(%[1]s) %% 1000)::VARCHAR, 3, '0'))::DECIMAL(18,3) END AS %[1]s", engine.Name(c.Name))
			c.Kind = contract.Int
		case contract.Instant, contract.Local:
			picks[i] = fmt.Sprintf("make_timestamp(%s) AS %[1]s", engine.Name(c.Name))
			c.Kind = contract.Int
		case contract.Date:
			picks[i] = fmt.Sprintf("(DATE '1970-01-01' + %s::INTEGER) AS %[1]s", engine.Name(c.Name))
			c.Kind = contract.Int
		}
		columns[i] = c
	}
	rows := make([][]any, record.NumRows())
	for r := range rows {
		rows[r] = make([]any, len(columns))
		for i := range columns {
			a := record.Column(i)
			if a.IsNull(r) {
				continue
			}
			switch a := a.(type) {
			case *array.String:
				rows[r][i] = a.Value(r)
			case *array.Int64:
				rows[r][i] = a.Value(r)
			case *array.Float64:
				rows[r][i] = a.Value(r)
			case *array.Decimal128:
				rows[r][i] = int64(a.Value(r).LowBits())
			case *array.Timestamp:
				rows[r][i] = int64(a.Value(r))
			case *array.Date32:
				rows[r][i] = int64(a.Value(r))
			case *array.Boolean:
				rows[r][i] = a.Value(r)
			}
		}
	}
	ctx := context.Background()
	if err := e.Load(ctx, name+"_plain", columns, rows); err != nil {
		t.Fatal(err)
	}
	if err := e.Exec(ctx, "test", fmt.Sprintf("CREATE TABLE %s AS SELECT %s FROM %[1]s_plain", name, strings.Join(picks, ", "))); err != nil {
		t.Fatal(err)
	}
}

func TestFilesReadBackAsWritten(t *testing.T) {
	e := start(t)
	ctx := context.Background()
	for _, n := range []int{0, 1, 31, 33, 129, 1_000, RowGroup, RowGroup + 1, 2*RowGroup + 77} {
		record := rowsOf(n)
		name := fmt.Sprintf("t%d", n)
		f := write(t, filepath.Join(t.TempDir(), name+".parquet"), record, 50_000)
		if f.Rows != int64(n) {
			t.Errorf("%d rows: Close says %d", n, f.Rows)
		}
		literals(t, e, name, record)
		if err := e.View(ctx, name+"_stored", kinds.Columns, []string{f.Path}, ""); err != nil {
			t.Fatal(err)
		}
		for _, pair := range [][2]string{{name, name + "_stored"}, {name + "_stored", name}} {
			if got := one(t, e, fmt.Sprintf("SELECT count(*) FROM (FROM %s EXCEPT ALL FROM %s)", pair[0], pair[1])); got != int64(0) {
				t.Errorf("%d rows: %v are in %s and not in %s", n, got, pair[0], pair[1])
			}
		}
		if n == 0 {
			continue
		}
		// The order of rows is kept, and the types are the contract's.
		if got := one(t, e, fmt.Sprintf("SELECT count(*) FROM (SELECT source_row, row_number() OVER () AS n FROM %s_stored) WHERE source_row <> n + 1", name)); got != int64(0) {
			t.Errorf("%d rows: %v out of order", n, got)
		}
		for _, c := range kinds.Columns {
			if got := one(t, e, fmt.Sprintf("SELECT any_value(typeof(%s)) FROM %s_stored", engine.Name(c.Name), name)); got != c.Kind.SQL() && got != "NULL" {
				t.Errorf("column %s: type %v, want %s", c.Name, got, c.Kind.SQL())
			}
		}
	}
}

// A reader skips row groups by their statistics: a filter must find the same
// rows as one that the statistics cannot help.
func TestStatisticsAreRight(t *testing.T) {
	e := start(t)
	record := rowsOf(2*RowGroup + 77)
	f := write(t, filepath.Join(t.TempDir(), "s.parquet"), record, RowGroup)
	literals(t, e, "plain", record)
	if err := e.View(context.Background(), "stored", kinds.Columns, []string{f.Path}, ""); err != nil {
		t.Fatal(err)
	}
	for _, c := range kinds.Columns {
		name := engine.Name(c.Name)
		for _, edge := range []string{"min", "max", "first"} {
			for _, compare := range []string{"=", "<", ">", "<=", ">="} {
				query := fmt.Sprintf("SELECT count(*) FROM %%s WHERE %s %s (SELECT %s(%s) FROM plain WHERE source_row < 60000)", name, compare, edge, name)
				if stored, plain := one(t, e, fmt.Sprintf(query, "stored")), one(t, e, fmt.Sprintf(query, "plain")); stored != plain {
					t.Errorf("column %s %s %s: %v rows by the file, %v by the rows", c.Name, compare, edge, stored, plain)
				}
			}
		}
		if stored, plain := one(t, e, fmt.Sprintf("SELECT count(*) FROM stored WHERE %s IS NULL", name)), one(t, e, fmt.Sprintf("SELECT count(*) FROM plain WHERE %s IS NULL", name)); stored != plain {
			t.Errorf("column %s: %v nulls by the file, %v by the rows", c.Name, stored, plain)
		}
	}
	// The statistics themselves, and not only what the engine makes of them.
	meta := "parquet_metadata(" + engine.Quote(f.Path) + ")"
	if got := one(t, e, "SELECT count(*) FROM (SELECT stats_min_value::BIGINT AS least, stats_max_value::BIGINT AS most, row_group_id, row_group_num_rows FROM "+meta+
		" WHERE path_in_schema = 'source_row') WHERE least = 2 + row_group_id * 122880 AND most = 1 + row_group_id * 122880 + row_group_num_rows"); got != int64(3) {
		t.Errorf("%v row groups have the bounds of source_row, want 3", got)
	}
	if got := one(t, e, "SELECT string_agg(DISTINCT compression, ' ') FROM "+meta); got != "ZSTD" {
		t.Errorf("compression %v", got)
	}
	if got := one(t, e, "SELECT repetition_type FROM parquet_schema("+engine.Quote(f.Path)+") LIMIT 1"); got != "REQUIRED" {
		t.Errorf("root is %v: readers other than the engine return wrong rows then", got)
	}
	if got := one(t, e, "SELECT string_agg(name, ' ') FROM (FROM parquet_schema("+engine.Quote(f.Path)+") OFFSET 1) WHERE repetition_type = 'REQUIRED'"); got != "source_row patient_id volume_needed issued_at" {
		t.Errorf("required columns: %v", got)
	}
}

func TestSameRowsSameBytes(t *testing.T) {
	record := rowsOf(RowGroup + 4_321)
	dir := t.TempDir()
	var want File
	for i, split := range []int{1 << 30, 1_000, 7_777, RowGroup, RowGroup + 1} {
		f := write(t, filepath.Join(dir, fmt.Sprintf("%d.parquet", i)), record, split)
		content, err := os.ReadFile(f.Path)
		if err != nil {
			t.Fatal(err)
		}
		if f.Bytes != int64(len(content)) || f.SHA256 != SHA256(content) {
			t.Errorf("records of %d rows: size or hash is not that of the file", split)
		}
		if i == 0 {
			want = f
		} else if f.SHA256 != want.SHA256 {
			t.Errorf("records of %d rows give other bytes than one record", split)
		}
		info, err := os.Stat(f.Path)
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode().Perm()&0o007 != 0 {
			t.Errorf("mode %v: others may read it", info.Mode())
		}
	}
}

func TestFileExplainsItself(t *testing.T) {
	e := start(t)
	f := write(t, filepath.Join(t.TempDir(), "m.parquet"), rowsOf(5), 5)
	facts := "parquet_kv_metadata(" + engine.Quote(f.Path) + ")"
	if got := one(t, e, "SELECT decode(value) FROM "+facts+" WHERE decode(key) = 'thawline:contract'"); got != fmt.Sprint(contract.Version) {
		t.Errorf("contract %v", got)
	}
	if got := one(t, e, "SELECT decode(value) FROM "+facts+" WHERE decode(key) = 'thawline:dictionary'"); got != contract.Dictionary(kinds, kinds.Columns) {
		t.Errorf("dictionary %v", got)
	}
	if got := one(t, e, "SELECT count(*) FROM "+facts+" WHERE decode(key) = 'ARROW:schema' AND octet_length(value) > 100"); got != int64(1) {
		t.Error("no Arrow schema")
	}
}

func TestWriterRefuses(t *testing.T) {
	columns := []contract.Column{{Name: "unit_no", Kind: contract.Text, Required: true}, {Name: "issued_at", Kind: contract.Instant}}
	table := &contract.Table{Name: "small", Columns: columns}
	text, micros := arrow.BinaryTypes.String, &arrow.TimestampType{Unit: arrow.Microsecond}
	field := func(name string, kind arrow.DataType) arrow.Field {
		return arrow.Field{Name: name, Type: kind, Nullable: true}
	}
	cases := []struct {
		name   string
		fields []arrow.Field
		null   bool
		want   string
	}{
		{"null in a required column", []arrow.Field{field("unit_no", text), field("issued_at", micros)}, true, "column unit_no: a value is missing"},
		{"milliseconds", []arrow.Field{field("unit_no", text), field("issued_at", &arrow.TimestampType{Unit: arrow.Millisecond})}, false, "column issued_at: found type timestamp[ms]"},
		{"a zone", []arrow.Field{field("unit_no", text), field("issued_at", &arrow.TimestampType{Unit: arrow.Microsecond, TimeZone: "UTC"})}, false, "column issued_at: found type"},
		{"missing column", []arrow.Field{field("unit_no", text)}, false, "column issued_at: found 0 times"},
		{"further column", []arrow.Field{field("unit_no", text), field("issued_at", micros), field("extra", text)}, false, "column extra: the table has no such column"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			b := array.NewRecordBuilder(memory.DefaultAllocator, arrow.NewSchema(c.fields, nil))
			defer b.Release()
			for i := range c.fields {
				switch f := b.Field(i).(type) {
				case *array.StringBuilder:
					if c.null {
						f.AppendNull()
					} else {
						f.Append("G1")
					}
				case *array.TimestampBuilder:
					f.Append(0)
				}
			}
			path := filepath.Join(t.TempDir(), "r.parquet")
			w, err := NewWriter(path, table, columns)
			if err != nil {
				t.Fatal(err)
			}
			err = w.Write(b.NewRecord())
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v, want %q", err, c.want)
			}
			w.Abort()
			if _, err := os.Stat(path); !os.IsNotExist(err) {
				t.Error("the abandoned file is still there")
			}
		})
	}
}

func TestColumnsAreMatchedByName(t *testing.T) {
	columns := []contract.Column{{Name: "a", Kind: contract.Int, Required: true}, {Name: "b", Kind: contract.Int, Required: true}}
	b := array.NewRecordBuilder(memory.DefaultAllocator, arrow.NewSchema([]arrow.Field{
		{Name: "b", Type: arrow.PrimitiveTypes.Int32}, {Name: "a", Type: arrow.PrimitiveTypes.Int64}}, nil))
	defer b.Release()
	b.Field(0).(*array.Int32Builder).Append(-2)
	b.Field(1).(*array.Int64Builder).Append(1)
	w, err := NewWriter(filepath.Join(t.TempDir(), "n.parquet"), &contract.Table{Name: "n"}, columns)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Write(b.NewRecord()); err != nil {
		t.Fatal(err)
	}
	f, err := w.Close()
	if err != nil {
		t.Fatal(err)
	}
	if got := one(t, start(t), "SELECT a::VARCHAR || ' ' || b FROM read_parquet("+engine.Quote(f.Path)+")"); got != "1 -2" {
		t.Errorf("got %v", got)
	}
}

// A full disk, or a quota, fails a write: the error must come back though the
// Parquet library does not hand every one on.
func TestFailedWriteIsReported(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip("no /dev/full here")
	}
	w, err := NewWriter(filepath.Join(t.TempDir(), "f.parquet"), kinds, kinds.Columns)
	if err != nil {
		t.Fatal(err)
	}
	w.sink.buffer.Reset(full)
	err = w.Write(rowsOf(RowGroup))
	if err == nil {
		_, err = w.Close()
	}
	if err == nil || !strings.Contains(err.Error(), "no space left") {
		t.Errorf("error %v, want that no space is left", err)
	}
}

// A text column with more bytes of different words than the library's own limit
// of a dictionary would be written in two encodings, told in a changing order.
func TestManyWordsSameBytes(t *testing.T) {
	table := &contract.Table{Name: "words", Doc: "Many words.", Row: "a row", Key: []string{"word"},
		Columns: []contract.Column{{Name: "word", Kind: contract.Text, Required: true, Doc: "all different"}}}
	b := array.NewRecordBuilder(memory.DefaultAllocator, contract.Schema(table.Columns))
	defer b.Release()
	for i := range 120_000 {
		b.Field(0).(*array.StringBuilder).Append(fmt.Sprintf("a word of some length, number %08d", i))
	}
	record := b.NewRecord()
	defer record.Release()
	seen := map[string]bool{}
	for i := range 12 {
		w, err := NewWriter(filepath.Join(t.TempDir(), fmt.Sprint(i, ".parquet")), table, table.Columns)
		if err != nil {
			t.Fatal(err)
		}
		if err := w.Write(record); err != nil {
			t.Fatal(err)
		}
		f, err := w.Close()
		if err != nil {
			t.Fatal(err)
		}
		seen[f.SHA256] = true
	}
	if len(seen) != 1 {
		t.Errorf("the same rows were written in %d ways, wanted one", len(seen))
	}
}
