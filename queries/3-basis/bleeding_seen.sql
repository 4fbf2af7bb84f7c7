-- bleeding_seen: whether bleeding of the episode's patient would have been recorded, had there been any.
--
-- reads:     episode_times, recipients, unit_facts, recorded_months, red_cells_given, building, local_days
WITH windows AS (
    SELECT
        episode_times.episode_id,
        episode_times.patient_id,
        episode_times.t0 - hours(building.bleeding_before_h) AS opens_at,
        episode_times.t1 AS closes_at,
        string_split(building.bleeding_recorded_in, ' ') AS recorded_in
    FROM episode_times
    CROSS JOIN building
),

opened AS (
    SELECT windows.*, local_days.day AS first_day
    FROM windows
    ASOF LEFT JOIN local_days ON windows.opens_at >= local_days.starts_at
),

dated AS (
    SELECT opened.*, local_days.day AS last_day
    FROM opened
    ASOF LEFT JOIN local_days ON opened.closes_at >= local_days.starts_at
),

-- All calendar months of the window must hold a row: a feed that stopped for a
-- month shows nothing in it.
covered AS (
    SELECT
        dated.episode_id,
        bool_and(dated.first_day >= recorded_months.first_day AND dated.last_day <= recorded_months.last_day)
        AND count(*) = any_value(date_diff('month', dated.first_day, dated.last_day)) + 1 AS covered
    FROM dated
    INNER JOIN recorded_months
        ON recorded_months.what = 'bleeding'
        AND recorded_months.month BETWEEN date_trunc('month', dated.first_day) AND date_trunc('month', dated.last_day)
    GROUP BY dated.episode_id
),

stated AS (
    SELECT
        unit_facts.episode_id,
        count(unit_facts.indication) > 0
        AND count(unit_facts.indication) = count(unit_facts.indication) FILTER (WHERE unit_facts.indication = 'raised_inr') AS no_bleeding_stated
    FROM unit_facts
    WHERE unit_facts.episode_id IS NOT NULL
    GROUP BY unit_facts.episode_id
),

supported AS (
    SELECT DISTINCT dated.episode_id
    FROM dated
    INNER JOIN red_cells_given
        ON red_cells_given.patient_id = dated.patient_id
        AND red_cells_given.begin BETWEEN dated.opens_at AND dated.closes_at
)

SELECT
    dated.episode_id,
    (
        (list_contains(dated.recorded_in, 'events') AND coalesce(covered.covered, false))
        OR (list_contains(dated.recorded_in, 'indication') AND stated.no_bleeding_stated)
    )
    -- In the young, red cells given tell of a loss that the number of units
    -- does not measure.
    AND (recipients.population = 'adult' OR supported.episode_id IS NULL) AS seen
FROM dated
INNER JOIN recipients ON recipients.episode_id = dated.episode_id
INNER JOIN stated ON stated.episode_id = dated.episode_id
LEFT JOIN covered ON covered.episode_id = dated.episode_id
LEFT JOIN supported ON supported.episode_id = dated.episode_id
