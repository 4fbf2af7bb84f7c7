-- haemorrhage_courses: each major haemorrhage activation of the charts' months, with what the pack counts of it: how soon plasma came, and what was given.
--
-- reads:     haemorrhages, haemorrhage_units
WITH

-- Plasma issued before the call was not issued for it.
firsts AS (
    SELECT
        haemorrhages.activation,
        min(haemorrhage_units.issued_at) AS issued_at,
        min(haemorrhage_units.started_at) AS started_at
    FROM haemorrhages
    INNER JOIN haemorrhage_units
        ON haemorrhage_units.activation = haemorrhages.activation
        AND haemorrhage_units.component = 'plasma'
        AND haemorrhage_units.issued_at >= haemorrhages.activated_at
    GROUP BY haemorrhages.activation
),

given AS (
    SELECT
        haemorrhage_units.activation,
        count(*) FILTER (haemorrhage_units.component = 'plasma' AND haemorrhage_units.given) AS plasma,
        count(*) FILTER (haemorrhage_units.component = 'red_cells' AND haemorrhage_units.given) AS red_cells,
        bool_or(haemorrhage_units.fate = 'unknown') AS any_unknown
    FROM haemorrhage_units
    GROUP BY haemorrhage_units.activation
),

timed AS (
    SELECT
        haemorrhages.activation,
        haemorrhages.month,
        haemorrhages.stood_down,
        haemorrhages.activated_at IS NOT NULL AS called,
        60 * hours_between(haemorrhages.activated_at, firsts.issued_at) AS minutes_to_issue,
        60 * hours_between(haemorrhages.activated_at, firsts.started_at) AS minutes_to_start,
        coalesce(given.plasma, 0) AS plasma,
        coalesce(given.red_cells, 0) AS red_cells,
        coalesce(given.any_unknown, false) AS any_unknown
    FROM haemorrhages
    LEFT JOIN firsts ON firsts.activation = haemorrhages.activation
    LEFT JOIN given ON given.activation = haemorrhages.activation
)

SELECT
    timed.*,
    -- By these names the figures say what they count.
    timed.minutes_to_issue IS NOT NULL AS first_issue,
    timed.minutes_to_start IS NOT NULL AS first_start,
    timed.red_cells > 0 AS with_red_cells,
    timed.red_cells > 0 AND 2 * timed.plasma >= timed.red_cells AS enough_plasma,
    timed.red_cells > 0 AND timed.any_unknown AS unknown_beside_red_cells,
    CASE
        WHEN timed.red_cells = 0 THEN 'no red cells given'
        WHEN 2 * timed.plasma < timed.red_cells THEN 'under 1 to 2'
        WHEN timed.plasma < timed.red_cells THEN '1 to 2, under 1 to 1'
        ELSE '1 to 1 and more'
    END AS ratio
FROM timed
