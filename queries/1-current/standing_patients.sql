-- standing_patients: every patient told, the number followed to its end, and how the row stands among those of its number.
--
-- reads:     source_patients, readings, alias_ends
--
-- A row that tells neither birth date nor sex tells of the blood group alone,
-- as a laboratory's result does: it replaces and cancels only rows of its own
-- kind, and the patient's row takes the last group told.
WITH told AS (
    SELECT
        source_patients.* REPLACE (coalesce(alias_ends.patient_id, source_patients.patient_id) AS patient_id),
        source_patients.patient_id AS told_id,
        readings.reading_order,
        source_patients.birth_date IS NULL AND source_patients.sex IS NULL
            AND (source_patients.status IS DISTINCT FROM 'cancelled' OR source_patients.abo IS NOT NULL OR source_patients.rhd IS NOT NULL) AS group_alone
    FROM source_patients
    JOIN readings ON readings.reading_file = source_patients.reading_file
    LEFT JOIN alias_ends ON alias_ends.alias = source_patients.patient_id
),
-- First among the rows of the number as told: a cancellation takes out its own row and all before it.
placed AS (
    SELECT
        told.*,
        row_number() OVER (
            PARTITION BY told.told_id, told.group_alone
            ORDER BY told.reading_order DESC, told.source_row DESC, hash(*COLUMNS(* EXCLUDE (reading_file, reading_order)))
        ) AS place,
        bool_or(coalesce(told.status = 'cancelled', false) AND NOT told.group_alone) OVER later_first AS patient_taken_out,
        bool_or(coalesce(told.status = 'cancelled', false)) OVER later_first AS group_taken_out
    FROM told
    WINDOW later_first AS (
        PARTITION BY told.told_id
        ORDER BY told.reading_order DESC, told.source_row DESC, hash(*COLUMNS(* EXCLUDE (reading_file, reading_order)))
        ROWS UNBOUNDED PRECEDING
    )
),
left_over AS (
    SELECT
        placed.*,
        CASE WHEN placed.group_alone THEN placed.group_taken_out ELSE placed.patient_taken_out END AS taken_out
    FROM placed
),
-- Then among those left of one patient: the row of an alias gives way to one of the number itself.
own_first AS (
    SELECT
        left_over.*,
        row_number() OVER (
            PARTITION BY left_over.patient_id, left_over.taken_out, left_over.place = 1
            ORDER BY left_over.group_alone, left_over.told_id = left_over.patient_id DESC, left_over.reading_order DESC, left_over.source_row DESC, left_over.told_id
        ) AS place_of_patient
    FROM left_over
),
chosen AS (
    SELECT
        own_first.*,
        NOT own_first.taken_out AND own_first.place = 1 AND own_first.place_of_patient = 1 AS is_chosen
    FROM own_first
),
groups AS (
    SELECT
        chosen.patient_id,
        arg_max(chosen.abo, (chosen.told_id = chosen.patient_id, chosen.reading_order, chosen.source_row, chosen.abo)) FILTER (WHERE chosen.abo IS NOT NULL) AS abo,
        arg_max(chosen.rhd, (chosen.told_id = chosen.patient_id, chosen.reading_order, chosen.source_row, chosen.rhd)) FILTER (WHERE chosen.rhd IS NOT NULL) AS rhd
    FROM chosen
    WHERE chosen.is_chosen OR (chosen.group_alone AND NOT chosen.taken_out)
    GROUP BY chosen.patient_id
    HAVING bool_or(chosen.group_alone)
)
SELECT
    chosen.* EXCLUDE (told_id, group_alone, place, patient_taken_out, group_taken_out, taken_out, place_of_patient, is_chosen)
        REPLACE (
            CASE WHEN chosen.is_chosen AND groups.patient_id IS NOT NULL THEN groups.abo ELSE chosen.abo END AS abo,
            CASE WHEN chosen.is_chosen AND groups.patient_id IS NOT NULL THEN groups.rhd ELSE chosen.rhd END AS rhd),
    CASE
        WHEN chosen.taken_out THEN 'cancelled'
        WHEN chosen.is_chosen THEN 'current'
        ELSE 'superseded'
    END AS standing
FROM chosen
LEFT JOIN groups ON groups.patient_id = chosen.patient_id
