package engine_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/engine"
)

// TestManyRows holds rows that come by column against the same rows by the driver's
// own way: every kind, nulls, texts that repeat themselves and texts that do not.
func TestManyRows(t *testing.T) {
	e, err := engine.Open(t.Context(), engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	const query = `SELECT
    CASE WHEN n % 7 <> 0 THEN 'word ' || n % 5 END AS repeated,
    'text ' || n AS alone,
    CASE WHEN n % 3 <> 0 THEN n END AS whole,
    CAST(n % 100 AS INTEGER) AS small,
    CASE WHEN n % 11 <> 0 THEN n / 7 END AS number,
    CASE WHEN n % 2 = 0 THEN n % 4 = 0 END AS truth,
    CASE WHEN n % 13 <> 0 THEN TIMESTAMP '2026-03-29 00:59:59.000001' + to_minutes(n) END AS at,
    DATE '2026-02-27' + CAST(n % 900 AS INTEGER) AS day
FROM range(9000) AS numbers(n) ORDER BY n`
	_, want, err := e.Rows(t.Context(), "rows", query)
	if err != nil {
		t.Fatal(err)
	}
	got, err := e.ManyRows(t.Context(), "rows", query)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("rows (- one by one, + by column):\n%s", diff)
	}
	if none, err := e.ManyRows(t.Context(), "none", query+" LIMIT 0"); err != nil || len(none) != 0 {
		t.Errorf("without rows: %d rows, %v", len(none), err)
	}
	if _, err := e.ManyRows(t.Context(), "a decimal", "SELECT CAST(1 AS DECIMAL(5, 2)) AS dose"); err == nil || !strings.Contains(err.Error(), "column dose") {
		t.Errorf("a decimal: %v, wanted an error that names its column", err)
	}
}
