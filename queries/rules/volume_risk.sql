-- volume_risk: a large volume, dose or rate was given to a patient at risk of overload.
--
-- of:        episode
-- needs:     measures; events or patients
-- reads:     dose_judged, judged_units, policy, episode_times, feeds
-- fires:     possible_ml, dose_possible or a rate over its limit, with heart failure, renal failure or age at risk
-- not known: whether the patient is at risk, or the dose, is not known and would decide
-- severity:  safety
-- source:    policy risk_volume_ml, risk_dose, risk_rate_ml_kg_h, risk_age
WITH rates AS (
    SELECT
        judged_units.episode_id,
        max(judged_units.ml_per_h) AS ml_per_h
    FROM judged_units
    WHERE judged_units.given AND judged_units.ml_per_h IS NOT NULL
    GROUP BY judged_units.episode_id
),

-- Three-valued: large and at_risk are null where a missing fact would decide.
weighed AS (
    SELECT
        dose_judged.episode_id,
        dose_judged.possible_ml,
        dose_judged.dose_possible,
        dose_judged.age_years,
        round(rates.ml_per_h / CAST(dose_judged.weight_kg AS DOUBLE), 6) AS ml_per_kg_h,
        (
            dose_judged.possible_ml >= policy.risk_volume_ml
            OR dose_judged.dose_possible > policy.risk_dose
            OR CASE WHEN rates.ml_per_h IS NULL THEN false ELSE round(rates.ml_per_h / CAST(dose_judged.weight_kg AS DOUBLE), 6) > policy.risk_rate_ml_kg_h END
        ) AS large,
        (
            dose_judged.heart_failure
            OR dose_judged.renal_failure
            OR dose_judged.age_years >= policy.risk_age
            -- Without an events feed a diagnosis would not have been seen.
            OR CASE WHEN (SELECT bool_or(feeds.present) FROM feeds WHERE feeds.table_name = 'events') THEN false END
        ) AS at_risk,
        dose_judged.heart_failure,
        dose_judged.renal_failure
    FROM dose_judged
    INNER JOIN episode_times ON episode_times.episode_id = dose_judged.episode_id
    INNER JOIN policy ON policy.policy_no = episode_times.policy_no
    LEFT JOIN rates ON rates.episode_id = dose_judged.episode_id
)

SELECT
    weighed.episode_id AS key,
    weighed.episode_id,
    CASE WHEN weighed.large AND weighed.at_risk THEN 'fired' WHEN NOT weighed.large OR NOT weighed.at_risk THEN 'clear' ELSE 'not_known' END AS result,
    weighed.possible_ml,
    weighed.dose_possible,
    weighed.ml_per_kg_h,
    weighed.age_years,
    weighed.heart_failure,
    weighed.renal_failure
FROM weighed
