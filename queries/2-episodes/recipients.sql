-- recipients: the patient of each episode at t0: age group, sex, blood group, height, and the neighbouring transfused episodes.
--
-- reads:     episode_times, building, patients, measures, local_days
WITH dated AS (
    SELECT
        episode_times.episode_id,
        episode_times.patient_id,
        episode_times.t0,
        local_days.day AS t0_day,
        -- Episodes of one patient follow each other by more than the gap, so
        -- that the latest end before and the earliest begin after are those of
        -- the neighbours.
        max(CASE WHEN episode_times.outcome = 'transfused' THEN episode_times.t1 END) OVER (
            PARTITION BY episode_times.patient_id ORDER BY episode_times.first_issued_at, episode_times.episode_id
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        ) AS previous_t1,
        min(CASE WHEN episode_times.outcome = 'transfused' THEN episode_times.t0 END) OVER (
            PARTITION BY episode_times.patient_id ORDER BY episode_times.first_issued_at, episode_times.episode_id
            ROWS BETWEEN 1 FOLLOWING AND UNBOUNDED FOLLOWING
        ) AS next_t0
    FROM episode_times
    ASOF LEFT JOIN local_days ON episode_times.t0 >= local_days.starts_at
),

heights AS (
    SELECT
        dated.episode_id,
        measures.value AS height_cm
    FROM dated
    INNER JOIN measures ON measures.patient_id = dated.patient_id AND measures.kind = 'height' AND measures.value IS NOT NULL
    QUALIFY row_number() OVER (
        PARTITION BY dated.episode_id
        ORDER BY
            CASE WHEN measures.measured_at <= dated.t0 THEN 0 ELSE 1 END,
            CASE WHEN measures.measured_at <= dated.t0 THEN epoch_us(dated.t0) - epoch_us(measures.measured_at) ELSE epoch_us(measures.measured_at) - epoch_us(dated.t0) END,
            CASE measures."method" WHEN 'measured' THEN 0 WHEN 'stated' THEN 1 WHEN 'estimated' THEN 2 ELSE 3 END
    ) = 1
)

SELECT
    dated.episode_id,
    dated.patient_id,
    dated.previous_t1,
    dated.next_t0,
    dated.t0_day,
    CASE
        WHEN patients.birth_date IS NULL OR patients.birth_date > dated.t0_day THEN 'adult'
        WHEN date_diff('day', patients.birth_date, dated.t0_day) < 28 THEN 'newborn'
        WHEN dated.t0_day < patients.birth_date + to_years(CAST(building.adult_from_years AS INTEGER)) THEN 'child'
        ELSE 'adult'
    END AS population,
    (patients.birth_date IS NULL OR patients.birth_date > dated.t0_day) AS birth_date_missing,
    CASE WHEN patients.birth_date <= dated.t0_day THEN date_diff('year', patients.birth_date, dated.t0_day)
        - CASE WHEN strftime(dated.t0_day, '%m%d') < strftime(patients.birth_date, '%m%d') THEN 1 ELSE 0 END
    END AS age_years,
    patients.sex,
    patients.abo,
    heights.height_cm
FROM dated
CROSS JOIN building
LEFT JOIN patients ON patients.patient_id = dated.patient_id
LEFT JOIN heights ON heights.episode_id = dated.episode_id
