package pack

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/figure"
	"thawline/internal/policy"
)

// hostile is a location that would act if it were ever taken for markup or for
// a formula.
const hostile = `</script><img src=x onerror=alert(1)>=1+1`

// fabricate writes invented audit tables: a few hundred episodes over two
// years, drawn from a hash of their number, so that they are the same each time.
func fabricate(t *testing.T, episodes int) *input {
	t.Helper()
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	dir := t.TempDir()
	files := map[string][]string{}
	must := func(what, sql string) {
		t.Helper()
		if err := e.Exec(ctx, what, sql); err != nil {
			t.Fatal(err)
		}
	}
	tables := append(contract.Audit(), contract.Feeds()...)
	for _, table := range tables {
		columns := make([]string, len(table.Columns))
		for i, c := range table.Columns {
			columns[i] = engine.Name(c.Name) + " " + c.Kind.SQL()
		}
		must(table.Name, fmt.Sprintf("CREATE TABLE %s (%s)", table.Name, strings.Join(columns, ", ")))
	}
	// r(i, k) is a number from 0 to 999 that depends on i and k alone.
	must("r", "CREATE MACRO r(i, k) AS (CAST(('0x' || substr(md5(i::VARCHAR || '/' || k::VARCHAR), 1, 6)) AS BIGINT) % 1000)")
	must("base", fmt.Sprintf(`CREATE TABLE base AS
SELECT i, printf('%%016x', i) AS episode_id, 'P' || (i %% 211) AS patient_id,
    TIMESTAMP '2024-11-01 06:00:00' + to_hours((i * 17520 / %d)::BIGINT) AS t0,
    50 + r(i, 1) %% 60 AS weight, 1 + r(i, 2) %% 5 AS units,
    1.2 + r(i, 3) / 250.0 AS inr, r(i, 4) AS chance
FROM range(%d) AS n(i)`, max(episodes, 1), episodes))
	must("episodes", `INSERT INTO episodes BY NAME
SELECT episode_id, patient_id, strftime(t0, '%Y-%m') AS month, 1 AS weekday, hour(t0) AS hour,
    CASE WHEN i % 50 = 7 THEN `+engine.Quote(hostile)+` ELSE 'Ward ' || (i % 5) END AS location, ['medicine', 'surgery', 'haematology', 'obstetrics'][1 + (i * 7 % 4)::BIGINT] AS specialty,
    t0 AS first_issued_at, t0, t0 + to_hours(units) AS t1, units AS units_issued,
    CASE WHEN chance < 880 THEN units ELSE 0 END AS units_transfused, 0 AS units_presumed,
    CASE WHEN chance BETWEEN 880 AND 919 THEN units ELSE 0 END AS units_returned,
    CASE WHEN chance BETWEEN 920 AND 979 THEN units ELSE 0 END AS units_discarded, 0 AS units_transferred,
    CASE WHEN chance >= 980 THEN units ELSE 0 END AS units_unknown,
    CASE WHEN chance < 880 THEN 'transfused' WHEN chance < 920 THEN 'returned' WHEN chance < 980 THEN 'lost' ELSE 'unknown' END AS outcome,
    CASE WHEN i % 11 = 3 THEN 'child' WHEN i % 23 = 4 THEN 'newborn' ELSE 'adult' END AS population, CASE WHEN r(i, 5) < 900 THEN weight END AS weight_kg,
    CASE WHEN chance < 880 THEN units * 260 ELSE 0 END AS delivered_ml, CASE WHEN chance < 880 OR chance >= 980 THEN units * 260 ELSE 0 END AS possible_ml,
    CASE WHEN chance < 880 AND r(i, 5) < 900 THEN round(units * 260.0 / weight, 6) END AS dose,
    CASE WHEN chance >= 880 OR r(i, 5) >= 900 THEN 'not_known' WHEN units * 260.0 / weight < 9.5 THEN 'below' WHEN units * 260.0 / weight > 20.5 THEN 'above' ELSE 'within' END AS dose_band,
    CASE WHEN r(i, 6) < 850 THEN inr END AS inr_before, CASE WHEN r(i, 6) < 850 THEN t0 - INTERVAL 3 HOUR END AS inr_before_at, CASE WHEN r(i, 6) < 850 THEN 3 END AS inr_before_hours,
    CASE WHEN r(i, 7) < 600 THEN inr - 0.2 * (inr - 1) END AS inr_after, CASE WHEN r(i, 7) < 600 THEN t0 + to_hours(units + 2) END AS inr_after_at,
    CASE WHEN chance < 880 AND r(i, 6) < 850 AND r(i, 7) < 600 THEN round(-0.2 * (inr - 1), 6) END AS change_inr,
    CASE WHEN chance < 880 AND r(i, 6) < 850 AND r(i, 7) < 600 THEN round(least(0, 0.47 - 0.37 * inr), 6) END AS expected_change_inr,
    CASE WHEN inr > 1.5 THEN 'shown' ELSE 'not_shown' END AS coagulopathy,
    CASE WHEN r(i, 8) < 450 THEN 'bleeding' WHEN r(i, 8) < 800 THEN 'none_found' WHEN r(i, 8) < 900 THEN 'procedure' WHEN r(i, 8) < 940 THEN 'major_haemorrhage' ELSE 'not_known' END AS basis,
    'none' AS alternative, 'none' AS course,
    CASE WHEN chance >= 980 THEN 'undetermined' WHEN chance >= 920 THEN 'wasted' WHEN chance >= 880 THEN 'returned' WHEN r(i, 8) BETWEEN 900 AND 939 THEN 'set-apart'
        WHEN r(i, 8) BETWEEN 450 AND 799 THEN 'non-bleeding' WHEN r(i, 8) >= 940 THEN 'undetermined' WHEN inr <= 1.5 THEN 'unsupported' WHEN units * 260.0 / weight < 9.5 THEN 'under-dosed' ELSE 'appropriate' END AS mark,
    1 AS mark_row, '' AS because, '' AS mark_recorded, 'abc' AS policy_hash
FROM base;
INSERT INTO other_marks BY NAME
SELECT 'dose_low' AS value, setting, episode_id, 'under-dosed' AS mark, 15 AS mark_row FROM episodes, (VALUES (12.0), (15.0)) AS s(setting) WHERE mark = 'appropriate' AND dose < setting - 0.5
UNION ALL SELECT 'over_bleeding', setting, episode_id, 'unsupported', 17 FROM episodes, (VALUES (1.8), (2.0)) AS s(setting)
    WHERE mark IN ('appropriate', 'under-dosed') AND coalesce(inr_before, 9) <= setting;
UPDATE episodes SET because = 'invented reason for ' || mark, mark_recorded = mark;`)
	must("units", `INSERT INTO units BY NAME
SELECT episode_id || '/' || u AS bag, 'U' || i || u AS unit_no, 'FP1' AS product_code, patient_id, t0 AS issued_at, episode_id,
    CASE WHEN chance < 880 THEN 'transfused' WHEN chance < 920 THEN 'returned' WHEN chance < 980 THEN 'discarded' ELSE 'unknown' END AS fate,
    chance < 880 AS given, 260 AS volume, 'nominal' AS volume_basis, CASE WHEN chance < 880 THEN 260 ELSE 0 END AS given_ml,
    t0 + to_hours(u) AS begin, t0 + to_hours(u + 1) AS finish, CASE WHEN r(i, 9) < 700 THEN 'recorded' ELSE 'assumed' END AS times_basis,
    'invented.csv' AS source_file, i * 10 + u AS source_row
FROM base, range(5) AS k(u) WHERE u < units;
INSERT INTO bags BY NAME
SELECT bag, unit_no, product_code, 'fresh_frozen' AS product, strftime(issued_at, '%Y-%m') AS month, fate, FALSE AS frozen_loss,
    CASE WHEN fate = 'discarded' THEN ['expired_after_thaw', 'no_longer_needed', 'patient_died'][1 + (source_row % 3)::BIGINT] END AS reason,
    CASE WHEN fate = 'discarded' THEN source_row % 3 < 2 END AS avoidable, issued_at - INTERVAL 1 HOUR AS thawed_at, (source_row * 7 % 300) / 10.0 AS hours_thaw_to_fate
FROM units;
INSERT INTO evidence BY NAME
SELECT episode_id, CASE WHEN i % 3 = 0 THEN 'red_cells' ELSE 'event' END AS source, CASE WHEN i % 3 = 0 THEN 'inferred' ELSE 'recorded' END AS strength, t0 - INTERVAL 2 HOUR AS at, '3' AS detail, 'invented.csv' AS source_file, i AS source_row
FROM base WHERE r(i, 8) < 450;
INSERT INTO findings BY NAME
SELECT 'two_units_below_band' AS finding, 'episode' AS of, episode_id AS key, episode_id, 'practice' AS severity, '{"dose": ' || coalesce(dose, 0) || '}' AS numbers FROM episodes WHERE dose_band = 'below' AND units_issued = 2;
INSERT INTO findings BY NAME
SELECT 'abo_incompatible' AS finding, 'unit' AS of, bag AS key, episode_id, 'safety' AS severity, '{"unit_abo": "O", "patient_abo": "A"}' AS numbers FROM units WHERE source_row % 97 = 1;
INSERT INTO rules_run BY NAME
SELECT 'two_units_below_band' AS finding, TRUE AS run, NULL AS why_not, 100 AS judged, 20 AS fired, 3 AS not_known
UNION ALL SELECT 'abo_incompatible', TRUE, NULL, 100, 3, 0
UNION ALL SELECT 'thaw_overrun', FALSE, 'no thaw times', 0, 0, 0;`)
	must("feeds", `INSERT INTO issues BY NAME
SELECT units.bag, units.unit_no, units.product_code, 'plasma' AS component, 'fresh_frozen' AS product, ['A', 'B', 'AB', 'O'][1 + (units.source_row % 4)::BIGINT] AS unit_abo,
    units.patient_id, episodes.location, episodes.specialty, CASE WHEN episodes.basis = 'major_haemorrhage' THEN 'M' || episodes.episode_id END AS activation_id,
    units.issued_at - to_minutes(20 + units.source_row % 50) AS requested_at, units.issued_at - to_minutes(units.source_row % 40) AS thawed_at, units.issued_at, units.issued_at AS issued_local,
    CASE WHEN units.given THEN units.begin END AS started_at, CASE WHEN units.given AND units.times_basis = 'recorded' THEN units.finish END AS ended_at,
    units.fate, units.source_file, units.source_row
FROM units INNER JOIN episodes ON episodes.episode_id = units.episode_id;
INSERT INTO issues BY NAME
SELECT 'R' || i || '/' || k AS bag, 'R' || i || '/' || k AS unit_no, 'RC' AS product_code, 'red_cells' AS component, patient_id, 'Ward ' || (i % 5) AS location, t0 AS issued_at, t0 AS issued_local, 'transfused' AS fate, 'invented.csv' AS source_file, i AS source_row
FROM base, range(9) AS n(k) WHERE k < 3 + r(i, 10) % 7;
INSERT INTO events BY NAME
SELECT patient_id, 'activation' AS kind, CASE WHEN i % 9 = 0 THEN 'stood_down' END AS detail, t0 - to_minutes(15 + i % 30) AS at, 'invented.csv' AS source_file, i AS source_row
FROM base WHERE r(i, 8) BETWEEN 900 AND 939;
-- A few were stood down, and used nothing.
INSERT INTO events BY NAME
SELECT 'S' || i AS patient_id, 'activation' AS kind, 'stood_down' AS detail, t0 AS at, 'invented.csv' AS source_file, i AS source_row
FROM base WHERE r(i, 8) BETWEEN 940 AND 946;
INSERT INTO medicines BY NAME
SELECT patient_id, ['vitamin_k', 'prothrombin_complex', 'fibrinogen_concentrate', 'heparin'][1 + (i % 4)::BIGINT] AS medicine, t0 AS given_at, 'invented.csv' AS source_file, i AS source_row FROM base;
INSERT INTO patients BY NAME
SELECT 'P' || i AS patient_id, ['A', 'B', 'AB', 'O'][1 + (i % 4)::BIGINT] AS abo, 'invented.csv' AS source_file, i AS source_row FROM range(211) AS n(i);
INSERT INTO activity BY NAME
SELECT strftime(DATE '2024-11-01' + to_months(m::INTEGER), '%Y-%m') AS month, 'admissions' AS measure, 900 + m * 37 % 200 AS count, 'invented.csv' AS source_file, m AS source_row FROM range(24) AS n(m);`)
	for _, table := range tables {
		path := filepath.Join(dir, table.Name+".parquet")
		must(table.Name, fmt.Sprintf("COPY %s TO %s (FORMAT parquet)", table.Name, engine.Quote(path)))
		files[table.Name] = []string{path}
	}
	zone, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	return &input{hospital: "Tarn Bridge General (invented)", from: "2026-09", to: "2026-09", today: "2026-10-20", version: "test", format: figure.Format{Small: 5},
		policy: policy.Default(), zone: zone, key: []byte("0123456789abcdef0123456789abcdef"), files: files,
		interventions: []figure.Intervention{{Month: "2025-11", Name: "Teaching on dose"}},
		sources: []Source{
			{Table: "issues", File: "bank_2026-10-01.csv", Date: "2026-10-01", SHA256: strings.Repeat("ab", 32), Read: 1000, Accepted: 990, Rejected: 7, SetAside: 3},
			{Table: "labs", File: "coag_2026-10-01.csv", Date: "2026-10-01", SHA256: strings.Repeat("cd", 32), Read: 9000, Accepted: 9000},
		}}
}
