-- medicine_facts: the medicines that change how an episode is judged, and whether medicines were recorded on the days before its aPTT sample.
--
-- reads:     episode_times, laboratory, medicine_spans, recorded_months, building, local_days
WITH sampled AS (
    SELECT
        episode_times.episode_id,
        episode_times.patient_id,
        episode_times.t0,
        laboratory.aptt_ratio_before_at AS sample_at,
        laboratory.aptt_ratio_before_through AS sample_through,
        laboratory.aptt_ratio_before_at - hours(24) AS opens_at
    FROM episode_times
    LEFT JOIN laboratory ON laboratory.episode_id = episode_times.episode_id
),

opened AS (
    SELECT sampled.episode_id, sampled.sample_at, local_days.day AS first_day
    FROM sampled
    ASOF INNER JOIN local_days ON sampled.opens_at >= local_days.starts_at
),

dated AS (
    SELECT opened.episode_id, opened.first_day, local_days.day AS last_day
    FROM opened
    ASOF INNER JOIN local_days ON opened.sample_at >= local_days.starts_at
),

covered AS (
    SELECT
        dated.episode_id,
        bool_and(dated.first_day >= recorded_months.first_day AND dated.last_day <= recorded_months.last_day)
        AND count(*) = any_value(date_diff('month', dated.first_day, dated.last_day)) + 1 AS covered
    FROM dated
    INNER JOIN recorded_months
        ON recorded_months.what = 'medicines'
        AND recorded_months.month BETWEEN date_trunc('month', dated.first_day) AND date_trunc('month', dated.last_day)
    GROUP BY dated.episode_id
),

taken AS (
    SELECT
        sampled.episode_id,
        bool_or(medicine_spans.medicine = 'heparin' AND medicine_spans.given_at <= sampled.sample_through AND medicine_spans.given_through >= sampled.opens_at) AS heparin,
        bool_or(medicine_spans.medicine = 'vitamin_k_antagonist' AND medicine_spans.given_at <= sampled.t0 AND medicine_spans.given_through >= sampled.t0 - days(building.vka_d)) AS vitamin_k_antagonist,
        bool_or(medicine_spans.medicine = 'prothrombin_complex' AND medicine_spans.given_at <= sampled.t0 + hours(24) AND medicine_spans.given_through >= sampled.t0 - hours(24)) AS prothrombin_complex,
        bool_or(medicine_spans.medicine = 'direct_oral_anticoagulant' AND medicine_spans.given_at <= sampled.t0 AND medicine_spans.given_through >= sampled.t0 - days(2)) AS direct_oral_anticoagulant
    FROM sampled
    CROSS JOIN building
    INNER JOIN medicine_spans ON medicine_spans.patient_id = sampled.patient_id
    GROUP BY sampled.episode_id
)

SELECT
    sampled.episode_id,
    coalesce(taken.heparin, false) AS heparin,
    coalesce(taken.vitamin_k_antagonist, false) AS vitamin_k_antagonist,
    coalesce(taken.prothrombin_complex, false) AS prothrombin_complex,
    coalesce(taken.direct_oral_anticoagulant, false) AS direct_oral_anticoagulant,
    coalesce(covered.covered, false) AS medicines_recorded
FROM sampled
LEFT JOIN taken ON taken.episode_id = sampled.episode_id
LEFT JOIN covered ON covered.episode_id = sampled.episode_id
