package engine

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/apache/arrow/go/v17/arrow/array"

	"thawline/internal/contract"
)

func open(t *testing.T) *Engine {
	t.Helper()
	e, err := Open(context.Background(), Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { e.Close() })
	return e
}

func TestRecordsCarryEveryKind(t *testing.T) {
	e := open(t)
	query := `SELECT 'ä'::VARCHAR AS a, 7::BIGINT AS b, 1.5::DOUBLE AS c, 275.125::DECIMAL(18,3) AS d,
		TIMESTAMP '2025-03-10 10:10:00' AS e, DATE '2025-03-10' AS f, true AS g, NULL::VARCHAR AS h
		UNION ALL SELECT NULL, NULL, NULL, NULL, NULL, NULL, NULL, 'x'`
	rows := 0
	for record, err := range e.Records(context.Background(), "test", query) {
		if err != nil {
			t.Fatal(err)
		}
		for i := range int(record.NumRows()) {
			rows++
			if rows == 1 {
				got := fmt.Sprint(record.Column(0).(*array.String).Value(i), record.Column(1).(*array.Int64).Value(i), record.Column(2).(*array.Float64).Value(i),
					record.Column(3).(*array.Decimal128).Value(i).LowBits(), int64(record.Column(4).(*array.Timestamp).Value(i)),
					record.Column(5).(*array.Date32).Value(i), record.Column(6).(*array.Boolean).Value(i), record.Column(7).IsNull(i))
				want := fmt.Sprint("ä", 7, 1.5, 275125, time.Date(2025, 3, 10, 10, 10, 0, 0, time.UTC).UnixMicro(), 20157, true, true)
				if got != want {
					t.Errorf("got %s, want %s", got, want)
				}
			} else if !record.Column(0).IsNull(i) || record.Column(7).IsNull(i) {
				t.Error("nulls are not kept")
			}
		}
	}
	if rows != 2 {
		t.Errorf("%d rows, want 2", rows)
	}
}

func TestZoneKnowsShortAndLongDays(t *testing.T) {
	e := open(t)
	ctx := context.Background()
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	if err := e.Zone(ctx, london); err != nil {
		t.Fatal(err)
	}
	// The UK clock went forward on 30 March and back on 26 October 2025
	// (Summer Time Order 2002: last Sundays of March and October, 01:00 UTC).
	_, rows, err := e.Rows(ctx, "test", `SELECT local_time(TIMESTAMP '2025-07-01 23:30:00')::VARCHAR, local_time(TIMESTAMP '2025-01-01 23:30:00')::VARCHAR,
		day_end(TIMESTAMP '2025-10-25 23:00:00')::VARCHAR, (SELECT count(*) FROM local_days WHERE ends_at - starts_at > INTERVAL 24 HOUR AND day BETWEEN DATE '2025-01-01' AND DATE '2025-12-31'),
		(SELECT day::VARCHAR FROM local_days WHERE ends_at - starts_at < INTERVAL 1379 MINUTE + INTERVAL 1 MINUTE AND day BETWEEN DATE '2025-01-01' AND DATE '2025-12-31')`)
	if err != nil {
		t.Fatal(err)
	}
	got := fmt.Sprint(rows[0])
	if want := "[2025-07-02 00:30:00 2025-01-01 23:30:00 2025-10-26 23:59:59.999999 1 2025-03-30]"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestErrorsQuoteNoCell(t *testing.T) {
	e := open(t)
	ctx := context.Background()
	if err := e.Load(ctx, "people", []contract.Column{{Name: "patient_id"}}, [][]any{{"SECRET-1"}}); err != nil {
		t.Fatal(err)
	}
	err := e.Exec(ctx, "queries/x.sql", "SELECT patient_id::BIGINT FROM people")
	if err == nil || strings.Contains(err.Error(), "SECRET") || !strings.HasPrefix(err.Error(), "queries/x.sql") {
		t.Errorf("error is %v", err)
	}
	err = e.Exec(ctx, "queries/x.sql", "SELECT patient_id,\n  nothing\nFROM people")
	if err == nil || !strings.HasPrefix(err.Error(), "queries/x.sql:2: Binder Error") {
		t.Errorf("error is %v", err)
	}
}

func TestViewWithoutFilesIsAnEmptyTable(t *testing.T) {
	e := open(t)
	ctx := context.Background()
	if err := e.View(ctx, "events", contract.Events.Columns, nil, "reading_file"); err != nil {
		t.Fatal(err)
	}
	_, rows, err := e.Rows(ctx, "test", "SELECT count(at), count(reading_file) FROM events")
	if err != nil || rows[0][0] != int64(0) {
		t.Errorf("rows %v, err %v", rows, err)
	}
}

// TestJoinsTellScansNothing holds the engine to the setting without which a query
// of two threads may end the program, once in some hundred packs: too seldom for
// a test to wait for it.
func TestJoinsTellScansNothing(t *testing.T) {
	e, err := Open(context.Background(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	beside, err := e.Beside(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	defer beside.Close()
	for _, session := range []*Engine{e, beside} {
		_, rows, err := session.Rows(context.Background(), "setting", "SELECT current_setting('disabled_optimizers')")
		if err != nil || rows[0][0] != "join_filter_pushdown" {
			t.Errorf("disabled optimizers %v, %v", rows, err)
		}
	}
}
