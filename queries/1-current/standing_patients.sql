-- standing_patients: every patient told, the number followed to its end, and how the row stands among those of its number.
--
-- reads:     source_patients, readings, alias_ends
WITH told AS (
    SELECT
        source_patients.* REPLACE (coalesce(alias_ends.patient_id, source_patients.patient_id) AS patient_id),
        source_patients.patient_id AS told_id,
        readings.reading_order
    FROM source_patients
    JOIN readings ON readings.reading_file = source_patients.reading_file
    LEFT JOIN alias_ends ON alias_ends.alias = source_patients.patient_id
),
-- First among the rows of the number as told: a cancellation takes out its own row and all before it.
placed AS (
    SELECT
        told.*,
        row_number() OVER later_first AS place,
        bool_or(coalesce(told.status = 'cancelled', false)) OVER later_first AS taken_out
    FROM told
    WINDOW later_first AS (
        PARTITION BY told.told_id
        ORDER BY told.reading_order DESC, told.source_row DESC, hash(*COLUMNS(* EXCLUDE (reading_file, reading_order)))
        ROWS UNBOUNDED PRECEDING
    )
),
-- Then among those left of one patient: the row of an alias gives way to one of the number itself.
own_first AS (
    SELECT
        placed.*,
        row_number() OVER (
            PARTITION BY placed.patient_id, placed.taken_out, placed.place = 1
            ORDER BY placed.told_id = placed.patient_id DESC, placed.reading_order DESC, placed.source_row DESC, placed.told_id
        ) AS place_of_patient
    FROM placed
)
SELECT
    own_first.* EXCLUDE (told_id, place, taken_out, place_of_patient),
    CASE
        WHEN own_first.taken_out THEN 'cancelled'
        WHEN own_first.place = 1 AND own_first.place_of_patient = 1 THEN 'current'
        ELSE 'superseded'
    END AS standing
FROM own_first
