-- episode_times: one row an episode: its first unit, its times, its units by fate, its volumes, and the policy period that judges it.
--
-- reads:     unit_facts, policy
WITH counted AS (
    SELECT
        unit_facts.episode_id,
        min(unit_facts.patient_id) AS patient_id,
        min(unit_facts.issued_at) AS first_issued_at,
        min(unit_facts.requested_at) AS first_requested_at,
        coalesce(min(unit_facts.begin) FILTER (WHERE unit_facts.given), min(unit_facts.issued_at)) AS t0,
        max(unit_facts.finish) FILTER (WHERE unit_facts.given) AS last_finish,
        count(*) AS units_issued,
        count(*) FILTER (WHERE unit_facts.fate = 'transfused') AS units_transfused,
        count(*) FILTER (WHERE unit_facts.fate = 'presumed') AS units_presumed,
        count(*) FILTER (WHERE unit_facts.fate = 'returned') AS units_returned,
        count(*) FILTER (WHERE unit_facts.fate = 'discarded') AS units_discarded,
        count(*) FILTER (WHERE unit_facts.fate = 'transferred') AS units_transferred,
        count(*) FILTER (WHERE unit_facts.fate = 'unknown') AS units_unknown,
        count(*) FILTER (WHERE unit_facts.given) AS units_given,
        CASE
            WHEN bool_or(unit_facts.given) THEN 'transfused'
            WHEN bool_or(unit_facts.fate_unknown) THEN 'unknown'
            WHEN bool_or(unit_facts.fate = 'discarded') THEN 'lost'
            ELSE 'returned'
        END AS outcome,
        CAST(sum(unit_facts.given_ml) AS DECIMAL(18, 3)) AS delivered_ml,
        CAST(sum(CASE WHEN unit_facts.fate_unknown THEN unit_facts.volume ELSE unit_facts.given_ml END) AS DECIMAL(18, 3)) AS possible_ml,
        CAST(sum(unit_facts.volume) FILTER (WHERE unit_facts.given) AS DECIMAL(18, 3)) AS given_units_ml,
        -- A small split of a large bag: without its recorded volume nobody
        -- knows what a newborn got.
        bool_or(
            ((unit_facts.given AND unit_facts.transfused_ml IS NULL) OR unit_facts.fate_unknown)
            AND unit_facts.volume_basis <> 'recorded'
            AND coalesce(unit_facts.nominal_ml, 100) >= 100
        ) AS newborn_volume_unknown,
        bool_or(unit_facts.given AND unit_facts.times_basis = 'assumed') AS times_assumed
    FROM unit_facts
    WHERE unit_facts.episode_id IS NOT NULL
    GROUP BY unit_facts.episode_id
)

SELECT
    counted.* EXCLUDE (last_finish),
    coalesce(counted.last_finish, counted.t0) AS t1,
    strftime(unit_facts.issued_local, '%Y-%m') AS month,
    CAST(isodow(unit_facts.issued_local) AS BIGINT) AS weekday,
    CAST(extract('hour' FROM unit_facts.issued_local) AS BIGINT) AS hour,
    unit_facts.location,
    unit_facts.specialty,
    unit_facts.requester,
    policy.policy_no
FROM counted
INNER JOIN unit_facts ON unit_facts.episode_id = counted.episode_id AND unit_facts.place = 1
INNER JOIN policy
    ON (policy.from_date IS NULL OR CAST(unit_facts.issued_local AS DATE) >= policy.from_date)
    AND (policy.until_date IS NULL OR CAST(unit_facts.issued_local AS DATE) < policy.until_date)
