-- judged_units: every plasma unit with the facts that the rules of units judge.
--
-- reads:     unit_facts, patients, episodes, episode_times, event_spans, policy, local_days
WITH transplants AS (
    SELECT
        event_spans.patient_id,
        min(event_spans.at) AS at
    FROM event_spans
    WHERE event_spans.kind = 'diagnosis' AND event_spans.detail = 'stem_cell_transplant'
    GROUP BY event_spans.patient_id
)

SELECT
    unit_facts.key,
    unit_facts.bag,
    unit_facts.episode_id,
    unit_facts.patient_id,
    unit_facts.issued_at,
    unit_facts.location,
    unit_facts.fate,
    unit_facts.given,
    unit_facts.volume,
    unit_facts.volume_basis,
    unit_facts.given_ml,
    unit_facts.begin,
    unit_facts.finish,
    unit_facts.times_basis,
    unit_facts.unit_abo,
    unit_facts.indication,
    unit_facts.indication_raw,
    unit_facts.thawed_at,
    -- A time told as a date alone is at fault only where all of its day is.
    coalesce(thaw_days.ends_at, unit_facts.thawed_at) AS thawed_through,
    unit_facts.left_storage_at,
    coalesce(storage_days.ends_at, unit_facts.left_storage_at) AS left_storage_through,
    unit_facts.started_at,
    unit_facts.ended_at,
    unit_facts.expires_at,
    patients.abo AS patient_abo,
    -- Plasma matches where it holds no antibody against the recipient's cells;
    -- to an unknown recipient only AB is safe.
    (coalesce(patients.abo, 'AB') = 'O' OR unit_facts.unit_abo = 'AB' OR unit_facts.unit_abo = patients.abo) IS TRUE AS compatible,
    coalesce(transplants.at <= unit_facts.begin, false) AS transplanted,
    episodes.basis,
    CASE WHEN unit_facts.product = 'thawed' THEN policy.thawed_life_h_thawed ELSE policy.thawed_life_h END AS life_h,
    policy.storage_to_end_h,
    CASE
        WHEN unit_facts.times_basis = 'recorded' AND unit_facts.ended_at > unit_facts.started_at
        THEN CAST(unit_facts.given_ml AS DOUBLE) / ((epoch_us(unit_facts.ended_at) - epoch_us(unit_facts.started_at)) / 3600000000.0)
    END AS ml_per_h
FROM unit_facts
LEFT JOIN local_days AS thaw_days ON thaw_days.starts_at = CASE WHEN told_as_date(unit_facts.date_only, 'thawed_at') THEN unit_facts.thawed_at END
LEFT JOIN local_days AS storage_days ON storage_days.starts_at = CASE WHEN told_as_date(unit_facts.date_only, 'left_storage_at') THEN unit_facts.left_storage_at END
LEFT JOIN episodes ON episodes.episode_id = unit_facts.episode_id
LEFT JOIN patients ON patients.patient_id = unit_facts.patient_id
LEFT JOIN transplants ON transplants.patient_id = unit_facts.patient_id
LEFT JOIN episode_times ON episode_times.episode_id = unit_facts.episode_id
-- A unit of no episode is judged by the values of its own local day.
LEFT JOIN policy
    ON CASE
        WHEN episode_times.policy_no IS NOT NULL THEN policy.policy_no = episode_times.policy_no
        ELSE (policy.from_date IS NULL OR CAST(unit_facts.issued_local AS DATE) >= policy.from_date)
            AND (policy.until_date IS NULL OR CAST(unit_facts.issued_local AS DATE) < policy.until_date)
    END
