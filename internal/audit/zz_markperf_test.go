package audit

import (
	"context"
	"fmt"
	"os"
	"testing"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
	"thawline/queries"
)

func TestMarkPerf(t *testing.T) {
	if os.Getenv("MARKPERF") == "" {
		t.Skip()
	}
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{MemoryMB: 1500})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	macros, _ := queries.FS.ReadFile("macros.sql")
	zone, _ := time.LoadLocation("Europe/London")
	must := func(what, q string) {
		at := time.Now()
		if err := e.Exec(ctx, what, q); err != nil {
			t.Fatal(err)
		}
		if d := time.Since(at); d > 300*time.Millisecond {
			fmt.Println(what, d)
		}
	}
	must("macros", string(macros))
	if err := e.Zone(ctx, zone); err != nil {
		t.Fatal(err)
	}
	for _, table := range contract.Feeds() {
		if err := e.Load(ctx, table.Name, table.Columns, nil); err != nil {
			t.Fatal(err)
		}
	}
	labs := "/tmp/w/perf/labs.parquet"
	if _, err := os.Stat(labs); err != nil {
		must("make labs", `COPY (SELECT 'P' || (hash(i) % 250000) AS patient_id, ['inr','pt_ratio','aptt_ratio','fibrinogen','hb','platelets','hct','pt_s'][1 + i % 8] AS test,
 0.8 + (hash(i*7) % 300) / 100.0 AS value, NULL::VARCHAR AS bound, NULL::VARCHAR AS no_value, (i % 20 = 0) AS point_of_care,
 TIMESTAMP '2023-01-01' + to_minutes(CAST(hash(i*3) % 1576800 AS BIGINT)) AS collected_at, TIMESTAMP '2023-01-01' + to_minutes(CAST(hash(i*3) % 1576800 + 40 AS BIGINT)) AS resulted_at,
 'final' AS status, NULL::VARCHAR AS date_only, 'l.csv' AS source_file, i AS source_row FROM range(20000000) t(i)) TO '/tmp/w/perf/labs.parquet'`)
	}
	must("drop", "DROP TABLE labs")
	must("labs", "CREATE VIEW labs AS SELECT * FROM '/tmp/w/perf/labs.parquet'")
	must("issues", `INSERT INTO issues BY NAME SELECT 'U' || i AS unit_no, CASE WHEN i < 200000 THEN 'F' ELSE 'R' END AS product_code, 'x' AS bag_code, false AS is_batch, 'U' || i AS bag,
 CASE WHEN i < 200000 THEN 'plasma' ELSE 'red_cells' END AS component, 'fresh_frozen' AS product, 275 AS nominal_ml, 275 AS volume_ml, 'A' AS unit_abo,
 'P' || ((i // 3 * 7) % 60000) AS patient_id, 'L' || i % 40 AS location, ['bleeding','procedure','other',NULL][1 + i % 4] AS indication,
 at AS issued_at, at AS issued_local, at + to_minutes(10) AS started_at, at + to_minutes(70) AS ended_at, 'transfused' AS fate, 'i.csv' AS source_file, i AS source_row
 FROM (SELECT i, TIMESTAMP '2023-01-01' + to_minutes(CAST(hash(i // 3) % 1576800 AS BIGINT)) AS at FROM range(700000) t(i))`)
	must("measures", `INSERT INTO measures BY NAME SELECT 'P' || i % 60000 AS patient_id, 'weight' AS kind, 70 AS value, TIMESTAMP '2023-01-01' + to_hours(CAST(hash(i) % 26280 AS BIGINT)) AS measured_at, 'measured' AS method, 'm.csv' AS source_file, i AS source_row FROM range(600000) t(i)`)
	must("events", `INSERT INTO events BY NAME SELECT 'P' || i % 60000 AS patient_id, ['bleeding','procedure','diagnosis'][1 + i % 3] AS kind, TIMESTAMP '2023-01-01' + to_hours(CAST(hash(i) % 26280 AS BIGINT)) AS at, 'e.csv' AS source_file, i AS source_row FROM range(300000) t(i)`)
	must("medicines", `INSERT INTO medicines BY NAME SELECT 'P' || i % 60000 AS patient_id, ['heparin','vitamin_k','vitamin_k_antagonist'][1 + i % 3] AS medicine, TIMESTAMP '2023-01-01' + to_hours(CAST(hash(i) % 26280 AS BIGINT)) AS given_at, 'e.csv' AS source_file, i AS source_row FROM range(300000) t(i)`)
	must("patients", `INSERT INTO patients BY NAME SELECT 'P' || i AS patient_id, DATE '1960-01-01' AS birth_date, 'F' AS sex, 'A' AS abo, 'p.csv' AS source_file, i AS source_row FROM range(60000) t(i)`)
	given := Given{Policy: policy.Default(), Present: map[string]bool{"measures": true, "events": true, "medicines": true, "patients": true}}
	start := time.Now()
	if err := loadGiven(ctx, e, given); err != nil {
		t.Fatal(err)
	}
	var all []*Query
	for _, stage := range markStages {
		some, _ := LoadQueries(queries.FS, stage)
		all = append(all, some...)
	}
	ordered, _ := Order(all)
	for _, q := range ordered {
		at := time.Now()
		if err := Run(ctx, e, []*Query{q}); err != nil {
			t.Fatal(err)
		}
		fmt.Printf("%8.2f %s\n", time.Since(at).Seconds(), q.Name)
	}
	at := time.Now()
	if err := runRules(ctx, e, given); err != nil {
		t.Fatal(err)
	}
	fmt.Println("rules", time.Since(at), "all", time.Since(start))
	_, rows, _ := e.Rows(ctx, "n", "SELECT (SELECT count(*) FROM episodes), (SELECT count(*) FROM findings), (SELECT count(*) FROM plasma_labs)")
	fmt.Println(rows)
	status, _ := os.ReadFile("/proc/self/status")
	fmt.Println(string(status))
}
