-- episode_weights: the actual weight of each episode: the latest plausible one before it, else the earliest after, and whether one stands outside the window.
--
-- reads:     episode_times, recipients, weights_checked, building
WITH windows AS (
    SELECT
        episode_times.episode_id,
        episode_times.patient_id,
        episode_times.t0,
        episode_times.t0 - days(CASE recipients.population
            WHEN 'newborn' THEN building.weight_before_d_newborn
            WHEN 'child' THEN building.weight_before_d_child
            ELSE building.weight_before_d_adult
        END) AS opens_at,
        episode_times.t0 + days(CASE recipients.population
            WHEN 'newborn' THEN building.weight_after_d_newborn
            WHEN 'child' THEN building.weight_after_d_child
            ELSE building.weight_after_d_adult
        END) AS closes_at
    FROM episode_times
    INNER JOIN recipients ON recipients.episode_id = episode_times.episode_id
    CROSS JOIN building
),

candidates AS (
    SELECT
        windows.episode_id,
        windows.t0,
        weights_checked.weight_kg,
        weights_checked.measured_at,
        weights_checked."method",
        CASE
            WHEN weights_checked.measured_at <= windows.t0 AND weights_checked.measured_through >= windows.opens_at THEN 'before'
            WHEN weights_checked.measured_at > windows.t0 AND weights_checked.measured_at <= windows.closes_at THEN 'after'
            WHEN weights_checked.measured_at <= windows.t0 THEN 'older'
            ELSE 'later'
        END AS place
    FROM windows
    INNER JOIN weights_checked ON weights_checked.patient_id = windows.patient_id AND weights_checked.reason IS NULL
),

ranked AS (
    SELECT
        candidates.*,
        row_number() OVER (
            PARTITION BY candidates.episode_id
            ORDER BY
                CASE candidates.place WHEN 'before' THEN 0 WHEN 'after' THEN 1 WHEN 'older' THEN 2 ELSE 3 END,
                abs(epoch_us(candidates.t0) - epoch_us(candidates.measured_at)),
                CASE candidates."method" WHEN 'measured' THEN 0 WHEN 'stated' THEN 1 WHEN 'estimated' THEN 2 ELSE 3 END
        ) AS choice
    FROM candidates
)

SELECT
    ranked.episode_id,
    CASE WHEN ranked.place IN ('before', 'after') THEN ranked.weight_kg END AS actual_kg,
    CASE WHEN ranked.place IN ('before', 'after') THEN ranked.measured_at END AS weight_at,
    -- One that is only after the window is as missing.
    (ranked.place = 'older') AS only_older,
    CASE WHEN ranked.place = 'older' THEN ranked.measured_at END AS older_at
FROM ranked
WHERE ranked.choice = 1
