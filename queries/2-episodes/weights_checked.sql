-- weights_checked: every weight of a patient with plasma, and why it is not believed.
--
-- reads:     measures, patients, recipients, weight_for_age, local_days
WITH weighed AS (
    SELECT
        measures.patient_id,
        measures.measured_at,
        measures."method",
        measures.value AS weight_kg,
        CASE WHEN told_as_date(measures.date_only, 'measured_at') THEN day_ends.ends_at ELSE measures.measured_at END AS measured_through,
        CAST(day_ends.day AS DATE) AS day,
        patients.birth_date,
        CASE WHEN patients.birth_date <= day_ends.day THEN date_diff('year', patients.birth_date, day_ends.day)
            - CASE WHEN patients.birth_date + to_years(CAST(date_diff('year', patients.birth_date, day_ends.day) AS INTEGER)) > day_ends.day THEN 1 ELSE 0 END
        END AS completed_years,
        measures.source_file,
        measures.source_row
    FROM measures
    ASOF LEFT JOIN local_days AS day_ends ON measures.measured_at >= day_ends.starts_at
    LEFT JOIN patients ON patients.patient_id = measures.patient_id
    WHERE measures.kind = 'weight'
        AND measures.value IS NOT NULL
        AND measures.patient_id IN (SELECT recipients.patient_id FROM recipients)
),

-- The lines of the age table, youngest first; the last line has no age and
-- takes everyone else, also without a birth date.
age_table AS (
    SELECT
        list(
            {'under_days': weight_for_age.under_days, 'under_years': weight_for_age.under_years, 'low_kg': weight_for_age.low_kg, 'high_kg': weight_for_age.high_kg}
            ORDER BY weight_for_age.under_days NULLS LAST, weight_for_age.under_years NULLS LAST
        ) AS age_lines
    FROM weight_for_age
),

fitted AS (
    SELECT
        weighed.*,
        list_filter(age_table.age_lines, age_line ->
            (age_line.under_days IS NULL AND age_line.under_years IS NULL)
            OR (weighed.birth_date <= weighed.day AND (
                coalesce(date_diff('day', weighed.birth_date, weighed.day) < age_line.under_days, false)
                OR coalesce(weighed.completed_years < age_line.under_years, false)
            ))
        )[1] AS line
    FROM weighed
    CROSS JOIN age_table
),

lined AS MATERIALIZED (
    SELECT
        fitted.* EXCLUDE (line),
        (fitted.weight_kg < fitted.line.low_kg OR fitted.weight_kg > fitted.line.high_kg) AS impossible,
        row_number() OVER () AS weight_no
    FROM fitted
),

others AS (
    SELECT
        lined.weight_no,
        median(CAST(other.weight_kg AS DOUBLE)) AS median_kg
    FROM lined
    INNER JOIN lined AS other
        ON other.patient_id = lined.patient_id
        AND other.measured_at BETWEEN lined.measured_at - days(30) AND lined.measured_at + days(30)
        AND other.weight_no <> lined.weight_no
        AND NOT other.impossible
    GROUP BY lined.weight_no
)

SELECT
    lined.* EXCLUDE (impossible, day, birth_date, completed_years, weight_no),
    CASE
        WHEN lined.impossible THEN 'impossible for the age'
        WHEN CAST(lined.weight_kg AS DOUBLE) > 2 * others.median_kg OR CAST(lined.weight_kg AS DOUBLE) < 0.5 * others.median_kg
        THEN 'over twice or under half the patient''s other weights'
    END AS reason
FROM lined
LEFT JOIN others ON others.weight_no = lined.weight_no
