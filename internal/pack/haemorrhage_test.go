package pack

import (
	"context"
	"testing"
	"time"

	"thawline/internal/engine"
	"thawline/queries"
)

// Units that tell of one activation at one instant are equal in all that orders
// them: however the engine turns them, each patient has one activation. (Some
// thousands of patients, since it turns few rows the same way each time.)
func TestUnitsOfOneInstantAreOneActivation(t *testing.T) {
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	run := func(what, query string) {
		t.Helper()
		if err := e.Exec(ctx, what, query); err != nil {
			t.Fatal(err)
		}
	}
	macros, err := queries.FS.ReadFile("macros.sql")
	if err != nil {
		t.Fatal(err)
	}
	run("macros", string(macros))
	if err := e.Zone(ctx, time.UTC); err != nil {
		t.Fatal(err)
	}
	run("tables", `
CREATE TABLE policy AS SELECT NULL::DATE AS from_date, 6.0 AS activation_before_h, 24.0 AS massive_red_cell_h;
CREATE TABLE months AS SELECT '2025-07' AS month;
CREATE TABLE events AS SELECT '' AS patient_id, '' AS kind, TIMESTAMP '2025-07-01' AS at, '' AS detail, '' AS date_only WHERE false;
CREATE TABLE issues AS
SELECT 'P' || p AS patient_id, 'M' || p AS activation_id, TIMESTAMP '2025-07-02 10:00' + to_minutes(CAST(p % 1000 AS BIGINT)) AS issued_at
FROM range(60000) AS people(p) CROSS JOIN range(6) AS units(u)`)
	text, err := queries.FS.ReadFile("5-shared/haemorrhages.sql")
	if err != nil {
		t.Fatal(err)
	}
	run("queries/5-shared/haemorrhages.sql", "CREATE TABLE haemorrhages AS "+string(text))
	_, rows, err := e.Rows(ctx, "count", "SELECT count(*), count(DISTINCT patient_id) FROM haemorrhages")
	if err != nil {
		t.Fatal(err)
	}
	if rows[0][0] != int64(60000) || rows[0][1] != int64(60000) {
		t.Errorf("%v activations of %v patients, want one each of 60000", rows[0][0], rows[0][1])
	}
}
