-- hb_falls: the largest fall of haemoglobin before an adult's episode that no plasma given in between explains.
--
-- reads:     episode_times, recipients, plasma_labs, component_units, red_cells_given, building
WITH samples AS (
    SELECT
        episode_times.episode_id,
        episode_times.patient_id,
        plasma_labs.point_of_care,
        plasma_labs.collected_at,
        plasma_labs.collected_through,
        plasma_labs.value
    FROM episode_times
    INNER JOIN recipients ON recipients.episode_id = episode_times.episode_id AND recipients.population = 'adult'
    CROSS JOIN building
    -- A sample told as a date alone counts if any of its day lies in the window.
    INNER JOIN plasma_labs
        ON plasma_labs.patient_id = episode_times.patient_id
        AND plasma_labs.collected_at <= episode_times.t0
        AND plasma_labs.collected_through >= episode_times.t0 - hours(building.bleeding_before_h)
        AND plasma_labs.test = 'hb'
        AND plasma_labs.bound IS NULL
),

pairs AS (
    SELECT
        earlier.episode_id,
        earlier.patient_id,
        earlier.collected_at AS earlier_at,
        later.collected_at AS later_at,
        later.collected_through AS later_through,
        later.point_of_care,
        earlier.value - later.value AS fell
    FROM samples AS earlier
    INNER JOIN samples AS later
        ON later.episode_id = earlier.episode_id
        AND later.point_of_care = earlier.point_of_care
        -- All of the earlier one's day, where it has no more, is before the later.
        AND later.collected_at > earlier.collected_through
),

diluted AS (
    SELECT DISTINCT
        pairs.episode_id,
        pairs.earlier_at,
        pairs.later_at
    FROM pairs
    INNER JOIN component_units
        ON component_units.patient_id = pairs.patient_id
        AND component_units.component = 'plasma'
        AND component_units.given
        -- Plasma of the later one's day may have come before it.
        AND component_units.begin < pairs.later_through
        AND component_units.finish > pairs.earlier_at
),

replaced AS (
    SELECT
        pairs.episode_id,
        pairs.earlier_at,
        pairs.later_at,
        pairs.point_of_care,
        any_value(pairs.fell) AS fell,
        count(red_cells_given.bag) AS red_cell_units
    FROM pairs
    LEFT JOIN red_cells_given
        ON red_cells_given.patient_id = pairs.patient_id
        AND red_cells_given.begin >= pairs.earlier_at
        AND red_cells_given.begin < pairs.later_at
    GROUP BY pairs.episode_id, pairs.earlier_at, pairs.later_at, pairs.point_of_care
)

SELECT
    replaced.episode_id,
    replaced.later_at,
    round(replaced.fell + building.hb_per_red_cell_g_l * replaced.red_cell_units, 6) AS fall
FROM replaced
CROSS JOIN building
ANTI JOIN diluted ON diluted.episode_id = replaced.episode_id AND diluted.earlier_at = replaced.earlier_at AND diluted.later_at = replaced.later_at
WHERE round(replaced.fell + building.hb_per_red_cell_g_l * replaced.red_cell_units, 6) >= building.hb_fall_g_l
QUALIFY row_number() OVER (PARTITION BY replaced.episode_id ORDER BY fall DESC, replaced.later_at, replaced.earlier_at DESC, replaced.point_of_care) = 1
