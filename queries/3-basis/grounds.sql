-- grounds: what is known of each episode's reason, each ground for itself.
--
-- reads:     episode_times, unit_facts, event_spans, red_cell_runs, bleeding_seen, building
WITH indicated AS (
    SELECT
        unit_facts.episode_id,
        bool_or(coalesce(unit_facts.indication = 'plasma_exchange', false)) AS plasma_exchange,
        bool_or(coalesce(unit_facts.indication = 'circuit_prime', false)) AS circuit_prime,
        bool_or(coalesce(unit_facts.indication = 'major_haemorrhage', false)) AS major_haemorrhage,
        bool_or(coalesce(unit_facts.indication = 'factor_deficiency', false)) AS factor_deficiency,
        bool_or(coalesce(unit_facts.indication = 'procedure', false)) AS procedure,
        bool_or(coalesce(unit_facts.indication = 'liver_disease', false)) AS liver_disease,
        bool_or(coalesce(unit_facts.indication = 'anticoagulant_reversal', false)) AS anticoagulant_reversal
    FROM unit_facts
    WHERE unit_facts.episode_id IS NOT NULL
    GROUP BY unit_facts.episode_id
),

told AS (
    SELECT
        episode_times.episode_id,
        bool_or(
            event_spans.kind = 'exchange'
            AND event_spans.at <= episode_times.t1 + hours(building.exchange_h)
            AND event_spans.through >= episode_times.t0 - hours(building.exchange_h)
        ) AS exchange,
        bool_or(
            event_spans.kind = 'diagnosis' AND event_spans.detail = 'ttp'
            AND event_spans.at <= episode_times.t1 + days(building.ttp_after_d)
            AND event_spans.through >= episode_times.t0 - days(building.ttp_before_d)
        ) AS ttp,
        max(CASE
            WHEN event_spans.kind = 'procedure'
                AND event_spans.at <= episode_times.t0 + hours(building.procedure_after_h)
                AND event_spans.through >= episode_times.t0 - hours(building.procedure_before_h)
            THEN CASE event_spans.detail WHEN 'high' THEN 3 WHEN 'low' THEN 1 ELSE 2 END
        END) AS procedure_risk,
        max(event_spans.at) FILTER (WHERE event_spans.kind = 'procedure' AND event_spans.at < episode_times.t0) AS last_procedure_at,
        bool_or(event_spans.kind = 'diagnosis' AND event_spans.detail = 'liver_disease' AND event_spans.at <= episode_times.t1) AS liver_disease,
        bool_or(event_spans.kind = 'diagnosis' AND event_spans.detail = 'heart_failure' AND event_spans.at <= episode_times.t1) AS heart_failure,
        bool_or(event_spans.kind = 'diagnosis' AND event_spans.detail = 'renal_failure' AND event_spans.at <= episode_times.t1) AS renal_failure,
        bool_or(
            event_spans.kind IN ('reaction', 'death')
            AND event_spans.at <= episode_times.t1 + hours(24)
            AND event_spans.through >= episode_times.t0
        ) AS reaction_or_death
    FROM episode_times
    CROSS JOIN building
    INNER JOIN event_spans ON event_spans.patient_id = episode_times.patient_id
    GROUP BY episode_times.episode_id
),

bled AS (
    SELECT DISTINCT episode_times.episode_id
    FROM episode_times
    INNER JOIN red_cell_runs
        ON red_cell_runs.patient_id = episode_times.patient_id
        AND red_cell_runs.first_at <= episode_times.t1
        AND red_cell_runs.last_at >= episode_times.t0
)

SELECT
    indicated.episode_id,
    (indicated.plasma_exchange OR coalesce(told.exchange, false) OR coalesce(told.ttp, false)) AS plasma_exchange,
    coalesce(told.ttp, false) AS ttp,
    indicated.circuit_prime,
    (indicated.major_haemorrhage OR bled.episode_id IS NOT NULL) AS major_haemorrhage,
    indicated.factor_deficiency,
    CASE WHEN told.procedure_risk IS NOT NULL THEN told.procedure_risk WHEN indicated.procedure THEN 2 END AS procedure_risk,
    told.last_procedure_at,
    (indicated.liver_disease OR coalesce(told.liver_disease, false)) AS liver_disease,
    coalesce(told.heart_failure, false) AS heart_failure,
    coalesce(told.renal_failure, false) AS renal_failure,
    indicated.anticoagulant_reversal,
    coalesce(told.reaction_or_death, false) AS reaction_or_death,
    bleeding_seen.seen
FROM indicated
INNER JOIN bleeding_seen ON bleeding_seen.episode_id = indicated.episode_id
LEFT JOIN told ON told.episode_id = indicated.episode_id
LEFT JOIN bled ON bled.episode_id = indicated.episode_id
