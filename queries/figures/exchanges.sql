-- exchanges: How much plasma went into exchanges and circuits, and for what reason?
--
-- reads:     year_episodes, events, policy
-- points:    reason: label; Reason
--            episodes: count; Episodes
--            units: number of episodes; Units given
--            median_ml: number of episodes; Median mL an episode
-- answer:    n: count; Exchanges for thrombotic thrombocytopenic purpura
--            of: count; Exchanges
--            not_known: count; Exchanges without any diagnosis recorded
--            circuits: count; Circuits primed
--            units: number of of; Units given in exchanges
-- means:     episodes: year, outcome transfused, basis plasma_exchange|circuit_prime, in rows
--            answer of: year, outcome transfused, basis plasma_exchange
--            answer circuits: year, outcome transfused, basis circuit_prime
--            answer circuits: sum of episodes where reason a circuit primed
--            answer of: sum of episodes where reason none of a circuit primed
--            answer n: sum of episodes where reason exchange: thrombotic thrombocytopenic purpura
--            answer not_known: sum of episodes where reason exchange: no diagnosis recorded
-- needs:     episodes + units where reason exchange: thrombotic thrombocytopenic purpura|exchange: liver disease|exchange: intravascular coagulation|exchange: another diagnosis: events
--            answer n: events
-- not known: a diagnosis counts from so many days before the plasma to so many after it as the policy has it (ttp_before_d, ttp_after_d); where several do, the first of this list
WITH

apart AS (
    SELECT
        year_episodes.episode_id,
        year_episodes.patient_id,
        year_episodes.basis,
        year_episodes.t0,
        year_episodes.t1,
        year_episodes.units_given AS units,
        CAST(year_episodes.delivered_ml AS DOUBLE) AS ml
    FROM year_episodes
    WHERE year_episodes.outcome = 'transfused' AND year_episodes.basis IN ('plasma_exchange', 'circuit_prime')
),

diagnosed AS (
    SELECT
        apart.episode_id,
        min(CASE events.detail WHEN 'ttp' THEN 1 WHEN 'liver_disease' THEN 2 WHEN 'dic' THEN 3 ELSE 4 END) AS place
    FROM apart
    INNER JOIN policy ON policy.from_date IS NULL
    INNER JOIN events
        ON events.patient_id = apart.patient_id
        AND events.kind = 'diagnosis'
        AND events.at BETWEEN apart.t0 - days(policy.ttp_before_d) AND apart.t1 + days(policy.ttp_after_d)
    WHERE apart.basis = 'plasma_exchange'
    GROUP BY apart.episode_id
),

placed AS (
    SELECT
        apart.units,
        apart.ml,
        CASE WHEN apart.basis = 'circuit_prime' THEN 6 ELSE coalesce(diagnosed.place, 5) END AS place
    FROM apart
    LEFT JOIN diagnosed ON diagnosed.episode_id = apart.episode_id
)

SELECT
    reasons.reason AS reason,
    count(placed.place) AS episodes,
    coalesce(sum(placed.units), 0)::BIGINT AS units,
    round(median(placed.ml), 0) AS median_ml
FROM (VALUES
    (1, 'exchange: thrombotic thrombocytopenic purpura'), (2, 'exchange: liver disease'), (3, 'exchange: intravascular coagulation'),
    (4, 'exchange: another diagnosis'), (5, 'exchange: no diagnosis recorded'), (6, 'a circuit primed')
) AS reasons(place, reason)
LEFT JOIN placed ON placed.place = reasons.place
GROUP BY reasons.place, reasons.reason
ORDER BY reasons.place
-- answer
SELECT
    coalesce(sum(points.episodes) FILTER (points.reason = 'exchange: thrombotic thrombocytopenic purpura'), 0)::BIGINT AS n,
    coalesce(sum(points.episodes) FILTER (points.reason <> 'a circuit primed'), 0)::BIGINT AS of,
    coalesce(sum(points.episodes) FILTER (points.reason = 'exchange: no diagnosis recorded'), 0)::BIGINT AS not_known,
    coalesce(sum(points.episodes) FILTER (points.reason = 'a circuit primed'), 0)::BIGINT AS circuits,
    coalesce(sum(points.units) FILTER (points.reason <> 'a circuit primed'), 0)::BIGINT AS units
FROM points
