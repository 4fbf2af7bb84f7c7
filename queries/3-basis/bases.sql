-- bases: why plasma was used, the first ground that holds; once with all evidence (lens all), once with inferred evidence left out (lens recorded).
--
-- reads:     grounds, evidence
WITH lenses AS (
    SELECT unnest(['all', 'recorded']) AS lens
),

weighed AS (
    SELECT
        lenses.lens,
        evidence.episode_id,
        bool_or(evidence.source = 'activation') AS activation,
        bool_or(NOT (evidence.source = 'event' AND evidence.detail IS NOT DISTINCT FROM 'minor')) AS bleeding,
        bool_or(evidence.strength = 'recorded' AND NOT (evidence.source = 'event' AND evidence.detail IS NOT DISTINCT FROM 'minor')) AS recorded_bleeding
    FROM evidence
    INNER JOIN lenses ON lenses.lens = 'all' OR evidence.strength = 'recorded'
    GROUP BY lenses.lens, evidence.episode_id
)

SELECT
    grounds.episode_id,
    lenses.lens,
    CASE
        WHEN grounds.plasma_exchange THEN 'plasma_exchange'
        WHEN grounds.circuit_prime THEN 'circuit_prime'
        WHEN weighed.activation OR grounds.major_haemorrhage THEN 'major_haemorrhage'
        WHEN grounds.factor_deficiency THEN 'factor_deficiency'
        WHEN weighed.bleeding THEN 'bleeding'
        WHEN weighed.episode_id IS NOT NULL THEN 'bleeding_minor'
        WHEN grounds.procedure_risk = 3 THEN 'procedure_high'
        WHEN grounds.procedure_risk = 2 THEN 'procedure'
        WHEN grounds.procedure_risk = 1 AND grounds.seen THEN 'procedure_low'
        WHEN grounds.procedure_risk = 1 THEN 'not_known'
        WHEN grounds.seen THEN 'none_found'
        ELSE 'not_known'
    END AS basis,
    coalesce(weighed.recorded_bleeding, false) AS recorded_bleeding
FROM grounds
CROSS JOIN lenses
LEFT JOIN weighed ON weighed.episode_id = grounds.episode_id AND weighed.lens = lenses.lens
