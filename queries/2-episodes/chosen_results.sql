-- chosen_results: for each episode and test the result before and the result after.
--
-- reads:     plasma_labs, episode_times, recipients, building
WITH windows AS (
    SELECT
        episode_times.episode_id,
        episode_times.patient_id,
        episode_times.t0,
        episode_times.t1,
        episode_times.t0 - hours(building.before_h) AS opens_at,
        episode_times.t1 + hours(building.after_h) AS closes_at,
        recipients.previous_t1,
        recipients.next_t0,
        coalesce(episode_times.first_requested_at, episode_times.first_issued_at) AS asked_at
    FROM episode_times
    INNER JOIN recipients ON recipients.episode_id = episode_times.episode_id
    CROSS JOIN building
),

sided AS (
    SELECT
        windows.episode_id,
        windows.t0,
        windows.t1,
        windows.asked_at,
        plasma_labs.* EXCLUDE (patient_id),
        CASE WHEN plasma_labs.collected_at <= windows.t0 THEN 'before' ELSE 'after' END AS side
    FROM windows
    INNER JOIN plasma_labs
        ON plasma_labs.patient_id = windows.patient_id
        AND plasma_labs.collected_through >= windows.opens_at
        AND plasma_labs.collected_at <= windows.closes_at
    WHERE (plasma_labs.collected_at <= windows.t0 AND (windows.previous_t1 IS NULL OR plasma_labs.collected_through > windows.previous_t1))
        -- A result with a date alone may have been taken before the plasma.
        OR (
            plasma_labs.collected_at > windows.t1
            AND NOT plasma_labs.collected_as_date
            AND (windows.next_t0 IS NULL OR plasma_labs.collected_at < windows.next_t0)
        )
),

ranked AS (
    SELECT
        sided.*,
        row_number() OVER (
            PARTITION BY sided.episode_id, sided.test, sided.side
            ORDER BY
                CASE WHEN sided.side = 'before' THEN -epoch_us(sided.collected_at) ELSE epoch_us(sided.collected_at) END,
                sided.point_of_care
        ) AS choice
    FROM sided
)

SELECT
    ranked.episode_id,
    ranked.test,
    ranked.side,
    ranked.value,
    ranked.bound,
    ranked.point_of_care,
    ranked.collected_at,
    ranked.collected_through,
    CASE WHEN ranked.side = 'before' THEN hours_between(ranked.collected_at, ranked.t0) ELSE hours_between(ranked.t1, ranked.collected_at) END AS hours,
    -- Of a result told as a date alone it may not be known whether it came in time.
    CASE
        WHEN ranked.side = 'before' AND ranked.resulted_through <= ranked.asked_at THEN true
        WHEN ranked.side = 'before' AND ranked.resulted_at > ranked.asked_at THEN false
    END AS known
FROM ranked
WHERE ranked.choice = 1
