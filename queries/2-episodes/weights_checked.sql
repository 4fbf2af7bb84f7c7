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
        measures.source_file,
        measures.source_row
    FROM measures
    ASOF LEFT JOIN local_days AS day_ends ON measures.measured_at >= day_ends.starts_at
    LEFT JOIN patients ON patients.patient_id = measures.patient_id
    WHERE measures.kind = 'weight'
        AND measures.value IS NOT NULL
        AND measures.patient_id IN (SELECT recipients.patient_id FROM recipients)
),

-- The first line of the age table under whose age the patient was; the last
-- line has no age and takes everyone else, also without a birth date.
lined AS (
    SELECT
        weighed.*,
        (weighed.weight_kg < weight_for_age.low_kg OR weighed.weight_kg > weight_for_age.high_kg) AS impossible
    FROM weighed
    INNER JOIN weight_for_age
        ON (weight_for_age.under_days IS NULL AND weight_for_age.under_years IS NULL)
        OR (weighed.birth_date <= weighed.day AND date_diff('day', weighed.birth_date, weighed.day) < weight_for_age.under_days)
        OR (weighed.birth_date <= weighed.day AND weighed.day < weighed.birth_date + to_years(CAST(weight_for_age.under_years AS INTEGER)))
    QUALIFY row_number() OVER (
        PARTITION BY weighed.patient_id, weighed.measured_at, weighed."method", weighed.source_file, weighed.source_row
        ORDER BY weight_for_age.under_days NULLS LAST, weight_for_age.under_years NULLS LAST
    ) = 1
),

others AS (
    SELECT
        lined.patient_id,
        lined.measured_at,
        lined."method",
        median(CAST(other.weight_kg AS DOUBLE)) AS median_kg
    FROM lined
    INNER JOIN lined AS other
        ON other.patient_id = lined.patient_id
        AND other.measured_at BETWEEN lined.measured_at - days(30) AND lined.measured_at + days(30)
        AND (other.measured_at, coalesce(other."method", '')) <> (lined.measured_at, coalesce(lined."method", ''))
        AND NOT other.impossible
    GROUP BY lined.patient_id, lined.measured_at, lined."method"
)

SELECT
    lined.* EXCLUDE (impossible, day, birth_date),
    CASE
        WHEN lined.impossible THEN 'impossible for the age'
        WHEN CAST(lined.weight_kg AS DOUBLE) > 2 * others.median_kg OR CAST(lined.weight_kg AS DOUBLE) < 0.5 * others.median_kg
        THEN 'over twice or under half the patient''s other weights'
    END AS reason
FROM lined
LEFT JOIN others
    ON others.patient_id = lined.patient_id
    AND others.measured_at = lined.measured_at
    AND others."method" IS NOT DISTINCT FROM lined."method"
