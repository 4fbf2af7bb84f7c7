package audit

import (
	"context"
	"fmt"
	"time"

	"thawline/internal/engine"
)

// Record is one record, or one limit, that had a part in how an episode was judged,
// beside its units, the results before and after, its weight and its bleeding evidence.
type Record struct {
	// What is a key: limit, band, procedure, diagnosis, exchange, reaction, death, medicine,
	// register, hb, red_cells, ward, discarded or returned.
	What string
	// Detail is a code, or a test; Value a number of it, and Limit what it was held against.
	Detail       string
	Value, Limit *float64
	// Bound is the sign before the value, and Other a second number: the tolerance of a
	// band, or the hours of a window.
	Bound string
	Other *float64
	At    time.Time
	// Until is a second instant, zero where there is none.
	Until time.Time
	File  string
	Row   int64
}

// Decided reads those records of the episodes of a table that has the columns of
// episodes, by episode. labs names the table of results that holds haemoglobin. The
// engine holds the feeds, units, evidence and policy.
func Decided(ctx context.Context, e *engine.Engine, episodes, labs string) (map[string][]Record, error) {
	rows, err := e.ManyRows(ctx, "records that decided", fmt.Sprintf(decidedSQL, engine.Name(episodes), engine.Name(labs)))
	if err != nil {
		return nil, err
	}
	all := map[string][]Record{}
	for _, r := range rows {
		id, _ := r[0].(string)
		one := Record{}
		one.What, _ = r[2].(string)
		one.Detail, _ = r[3].(string)
		one.Bound, _ = r[4].(string)
		for i, into := range []**float64{&one.Value, &one.Limit, &one.Other} {
			if x, ok := r[5+i].(float64); ok {
				*into = &x
			}
		}
		one.At, _ = r[8].(time.Time)
		one.Until, _ = r[9].(time.Time)
		one.File, _ = r[10].(string)
		one.Row, _ = r[11].(int64)
		all[id] = append(all[id], one)
	}
	return all, nil
}

// decidedSQL follows the windows of queries/3-basis and queries/4-marks.
const decidedSQL = `
WITH building AS (
    SELECT * FROM policy WHERE policy.from_date IS NULL
),
judged AS (
    SELECT * FROM %[1]s
),
values_of AS (
    SELECT policy.* FROM policy QUALIFY row_number() OVER (PARTITION BY policy.policy_hash ORDER BY policy.policy_no) = 1
),
spans AS (
    SELECT
        events.*,
        greatest(
            coalesce(until_days.ends_at, events.until, at_days.ends_at, events.at),
            coalesce(at_days.ends_at, events.at),
            CASE WHEN events.kind = 'procedure' AND events.until IS NULL THEN events.at + hours(building.procedure_assumed_h) ELSE events.at END
        ) AS through
    FROM events
    CROSS JOIN building
    LEFT JOIN local_days AS at_days ON at_days.starts_at = CASE WHEN told_as_date(events.date_only, 'at') THEN events.at END
    LEFT JOIN local_days AS until_days ON until_days.starts_at = CASE WHEN told_as_date(events.date_only, 'until') THEN events.until END
    WHERE events.kind IN ('procedure', 'diagnosis', 'exchange', 'reaction', 'death')
        AND events.patient_id IN (SELECT judged.patient_id FROM judged)
),
told AS (
    SELECT judged.episode_id, spans.*
    FROM spans
    CROSS JOIN building
    INNER JOIN judged ON judged.patient_id = spans.patient_id
    WHERE CASE spans.kind
        WHEN 'procedure' THEN spans.at <= judged.t0 + hours(building.procedure_after_h) AND spans.through >= judged.t0 - hours(building.procedure_before_h)
        WHEN 'exchange' THEN spans.at <= judged.t1 + hours(building.exchange_h) AND spans.through >= judged.t0 - hours(building.exchange_h)
        WHEN 'diagnosis' THEN CASE spans.detail
            WHEN 'ttp' THEN spans.at <= judged.t1 + days(building.ttp_after_d) AND spans.through >= judged.t0 - days(building.ttp_before_d)
            ELSE spans.detail IN ('liver_disease', 'heart_failure', 'renal_failure') AND spans.at <= judged.t1
        END
        ELSE spans.at <= judged.t1 + hours(24) AND spans.through >= judged.t0
    END
),
taken AS (
    SELECT judged.episode_id, medicines.*
    FROM (
        SELECT medicines.*, coalesce(local_days.ends_at, medicines.given_at) AS given_through
        FROM medicines
        LEFT JOIN local_days ON local_days.starts_at = CASE WHEN told_as_date(medicines.date_only, 'given_at') THEN medicines.given_at END
        WHERE medicines.patient_id IN (SELECT judged.patient_id FROM judged)
    ) AS medicines
    CROSS JOIN building
    INNER JOIN judged ON judged.patient_id = medicines.patient_id
    WHERE CASE medicines.medicine
        WHEN 'heparin' THEN medicines.given_at <= judged.aptt_ratio_before_at AND medicines.given_through >= judged.aptt_ratio_before_at - hours(24)
        WHEN 'vitamin_k_antagonist' THEN medicines.given_at <= judged.t0 AND medicines.given_through >= judged.t0 - days(building.vka_d)
        WHEN 'direct_oral_anticoagulant' THEN medicines.given_at <= judged.t0 AND medicines.given_through >= judged.t0 - days(2)
        ELSE medicines.given_at <= judged.t0 + hours(24) AND medicines.given_through >= judged.t0 - hours(24)
    END
),
-- The pair of results that a fall of haemoglobin is between: what is left of it is whole
-- units of red cells given in between.
fallen AS (
    SELECT evidence.episode_id, later.value AS later_value, later.collected_at AS later_at, later.source_file AS later_file, later.source_row AS later_row,
        earlier.value AS earlier_value, earlier.collected_at AS earlier_at, earlier.source_file AS earlier_file, earlier.source_row AS earlier_row
    FROM evidence
    INNER JOIN judged ON judged.episode_id = evidence.episode_id
    CROSS JOIN building
    INNER JOIN %[2]s AS later ON later.patient_id = judged.patient_id AND later.test = 'hb' AND later.collected_at = evidence.at AND later.bound IS NULL
    INNER JOIN %[2]s AS earlier ON earlier.patient_id = judged.patient_id AND earlier.test = 'hb' AND earlier.bound IS NULL
        AND earlier.collected_at < later.collected_at AND earlier.collected_at >= judged.t0 - hours(building.bleeding_before_h) - hours(25)
        AND coalesce(earlier.point_of_care, false) = coalesce(later.point_of_care, false)
    WHERE evidence.source = 'hb_fall'
        AND CASE WHEN building.hb_per_red_cell_g_l > 0
            THEN abs((TRY_CAST(evidence.detail AS DOUBLE) - (earlier.value - later.value)) / building.hb_per_red_cell_g_l
                - round(greatest(0, TRY_CAST(evidence.detail AS DOUBLE) - (earlier.value - later.value)) / building.hb_per_red_cell_g_l)) < 0.000001
            ELSE abs(TRY_CAST(evidence.detail AS DOUBLE) - (earlier.value - later.value)) < 0.000001 END
    QUALIFY row_number() OVER (PARTITION BY evidence.episode_id ORDER BY earlier.value - later.value DESC, earlier.collected_at DESC, earlier.source_row, later.source_row) = 1
),
indicated AS (
    SELECT units.episode_id, issues.fate, issues.indication, issues.returned_at, issues.discarded_at, issues.discard_reason, issues.bedside_file, issues.bedside_row, units.source_file, units.source_row
    FROM units
    INNER JOIN judged ON judged.episode_id = units.episode_id
    INNER JOIN issues ON issues.bag = units.bag AND issues.issued_at IS NOT DISTINCT FROM units.issued_at
),
liver AS (
    SELECT told.episode_id FROM told WHERE told.detail = 'liver_disease'
    UNION
    SELECT indicated.episode_id FROM indicated WHERE indicated.indication = 'liver_disease'
),
limits AS (
    SELECT
        judged.*,
        CASE
            WHEN NOT starts_with(judged.basis, 'procedure') THEN values_of.over_bleeding
            WHEN liver.episode_id IS NOT NULL THEN values_of.over_liver_procedure
            ELSE values_of.over_procedure
        END AS over,
        values_of.aptt_ratio_over,
        values_of.viscoelastic_over,
        CASE WHEN starts_with(judged.basis, 'procedure') THEN values_of.fibrinogen_under_procedure ELSE values_of.fibrinogen_under_bleeding END AS fibrinogen_under,
        CASE WHEN judged.population = 'adult' THEN values_of.dose_low ELSE values_of.child_dose_low END AS low,
        CASE WHEN judged.population = 'adult' THEN values_of.dose_high ELSE values_of.child_dose_high END AS high,
        values_of.dose_tolerance
    FROM judged
    INNER JOIN values_of ON values_of.policy_hash = judged.policy_hash
    LEFT JOIN liver ON liver.episode_id = judged.episode_id
),
lines AS (
    SELECT limits.episode_id, 1 AS place, 'limit' AS what, 'inr_before' AS detail, limits.inr_before_bound AS sign, CAST(limits.inr_before AS DOUBLE) AS value, CAST(limits.over AS DOUBLE) AS held, NULL::DOUBLE AS other, NULL::TIMESTAMP AS at, NULL::TIMESTAMP AS until, NULL::VARCHAR AS file, NULL::BIGINT AS line FROM limits WHERE limits.inr_before IS NOT NULL
    UNION ALL SELECT episode_id, 2, 'limit', 'pt_ratio_before', pt_ratio_before_bound, CAST(pt_ratio_before AS DOUBLE), CAST(over AS DOUBLE), NULL, NULL, NULL, NULL, NULL FROM limits WHERE pt_ratio_before IS NOT NULL
    UNION ALL SELECT episode_id, 3, 'limit', 'aptt_ratio_before', aptt_ratio_before_bound, CAST(aptt_ratio_before AS DOUBLE), CAST(aptt_ratio_over AS DOUBLE), NULL, NULL, NULL, NULL, NULL FROM limits WHERE aptt_ratio_before IS NOT NULL
    UNION ALL SELECT episode_id, 4, 'limit', 'viscoelastic_before', viscoelastic_before_bound, CAST(viscoelastic_before AS DOUBLE), CAST(viscoelastic_over AS DOUBLE), NULL, NULL, NULL, NULL, NULL FROM limits WHERE viscoelastic_before IS NOT NULL
    UNION ALL SELECT episode_id, 5, 'limit_under', 'fibrinogen_before', fibrinogen_before_bound, CAST(fibrinogen_before AS DOUBLE), CAST(fibrinogen_under AS DOUBLE), NULL, NULL, NULL, NULL, NULL FROM limits WHERE fibrinogen_before IS NOT NULL
    UNION ALL SELECT episode_id, 6, 'band', NULL, NULL, CAST(low AS DOUBLE), CAST(high AS DOUBLE), CAST(dose_tolerance AS DOUBLE), NULL, NULL, NULL, NULL FROM limits WHERE dose IS NOT NULL OR dose_possible IS NOT NULL
    UNION ALL SELECT told.episode_id, 7, told.kind, told.detail, NULL, NULL, NULL, NULL, told.at, told.until, told.source_file, told.source_row FROM told
    UNION ALL SELECT taken.episode_id, 8, 'medicine', taken.medicine, NULL, NULL, NULL, NULL, taken.given_at, NULL, taken.source_file, taken.source_row FROM taken
    UNION ALL SELECT fallen.episode_id, 9, 'hb', NULL, NULL, fallen.earlier_value, NULL, NULL, fallen.earlier_at, NULL, fallen.earlier_file, fallen.earlier_row FROM fallen
    UNION ALL SELECT fallen.episode_id, 10, 'hb', NULL, NULL, fallen.later_value, CAST(building.hb_fall_g_l AS DOUBLE), NULL, fallen.later_at, NULL, fallen.later_file, fallen.later_row FROM fallen CROSS JOIN building
    UNION ALL SELECT evidence.episode_id, 11, 'red_cells', NULL, NULL, TRY_CAST(evidence.detail AS DOUBLE), CAST(building.red_cell_units AS DOUBLE), CAST(building.red_cell_h AS DOUBLE), judged.t0, NULL, NULL, NULL
        FROM evidence INNER JOIN judged ON judged.episode_id = evidence.episode_id CROSS JOIN building WHERE evidence.source = 'red_cells'
    UNION ALL SELECT DISTINCT indicated.episode_id, 12, 'ward', NULL, NULL, NULL::DOUBLE, NULL::DOUBLE, NULL::DOUBLE, NULL::TIMESTAMP, NULL::TIMESTAMP, indicated.bedside_file, indicated.bedside_row FROM indicated WHERE indicated.bedside_file IS NOT NULL
    UNION ALL SELECT indicated.episode_id, 13, indicated.fate, CASE WHEN indicated.fate = 'discarded' THEN indicated.discard_reason END, NULL, NULL, NULL, NULL, CASE WHEN indicated.fate = 'discarded' THEN indicated.discarded_at ELSE indicated.returned_at END, NULL, indicated.source_file, indicated.source_row
        FROM indicated WHERE indicated.fate IN ('discarded', 'returned')
    UNION ALL SELECT judged.episode_id, 14, 'register', patients.abo, NULL, NULL, NULL, NULL, NULL, NULL, patients.source_file, patients.source_row
        FROM judged INNER JOIN patients ON patients.patient_id = judged.patient_id
)
SELECT lines.episode_id, lines.place, lines.what, lines.detail, lines.sign, lines.value, lines.held, lines.other, lines.at, lines.until, lines.file, CAST(lines.line AS BIGINT)
FROM lines
ORDER BY ALL`
