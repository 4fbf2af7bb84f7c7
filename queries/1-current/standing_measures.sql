-- standing_measures: every measure told, its patient's number followed to the end, and how it stands among those of its key.
--
-- reads:     source_measures, readings, alias_ends
WITH told AS (
    SELECT
        source_measures.* REPLACE (coalesce(alias_ends.patient_id, source_measures.patient_id) AS patient_id),
        readings.reading_order
    FROM source_measures
    JOIN readings ON readings.reading_file = source_measures.reading_file
    LEFT JOIN alias_ends ON alias_ends.alias = source_measures.patient_id
),
-- later_first runs from the last word backwards: a cancellation takes out its own row and all before it.
placed AS (
    SELECT
        told.*,
        row_number() OVER later_first AS place,
        bool_or(coalesce(told.status = 'cancelled', false)) OVER later_first AS taken_out
    FROM told
    WINDOW later_first AS (
        PARTITION BY told.patient_id, told.kind, told.measured_at, told.method
        ORDER BY told.reading_order DESC, told.source_row DESC, hash(*COLUMNS(* EXCLUDE (reading_file, reading_order)))
        ROWS UNBOUNDED PRECEDING
    )
)
SELECT
    placed.* EXCLUDE (place, taken_out),
    CASE WHEN placed.taken_out THEN 'cancelled' WHEN placed.place = 1 THEN 'current' ELSE 'superseded' END AS standing
FROM placed
