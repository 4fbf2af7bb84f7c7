-- plasma_to_red_cells: In what ratio were plasma and red cells given in a major haemorrhage?
--
-- reads:     haemorrhages, haemorrhage_units, period
-- points:    ratio: label; Plasma to red cells given
--            activations: count; Activations
--            plasma: number of activations; Plasma units given
--            red_cells: number of activations; Red-cell units given
-- answer:    n: count; At least one plasma to two red cells
--            of: count; Activations in which red cells were given
--            not_known: count; Of these, with units of unknown fate
--            plasma: number of of; Plasma units given
--            red_cells: number of of; Red-cell units given
-- not known: activations that were stood down are left out; units of unknown fate count as not given
WITH

given AS (
    SELECT
        haemorrhages.activation,
        count(*) FILTER (haemorrhage_units.component = 'plasma' AND haemorrhage_units.given) AS plasma,
        count(*) FILTER (haemorrhage_units.component = 'red_cells' AND haemorrhage_units.given) AS red_cells
    FROM haemorrhages
    CROSS JOIN period
    LEFT JOIN haemorrhage_units ON haemorrhage_units.activation = haemorrhages.activation
    WHERE NOT haemorrhages.stood_down AND haemorrhages.month BETWEEN period.year_from_month AND period.to_month
    GROUP BY haemorrhages.activation
),

placed AS (
    SELECT
        given.*,
        CASE
            WHEN given.red_cells = 0 THEN 4
            WHEN 2 * given.plasma < given.red_cells THEN 1
            WHEN given.plasma < given.red_cells THEN 2
            ELSE 3
        END AS place
    FROM given
)

SELECT
    bands.ratio AS ratio,
    count(placed.place) AS activations,
    coalesce(sum(placed.plasma), 0)::BIGINT AS plasma,
    coalesce(sum(placed.red_cells), 0)::BIGINT AS red_cells
FROM (VALUES (1, 'under 1 to 2'), (2, '1 to 2, under 1 to 1'), (3, '1 to 1 and more'), (4, 'no red cells given')) AS bands(place, ratio)
LEFT JOIN placed ON placed.place = bands.place
GROUP BY bands.place, bands.ratio
ORDER BY bands.place
-- answer
SELECT
    coalesce(sum(points.activations) FILTER (points.ratio IN ('1 to 2, under 1 to 1', '1 to 1 and more')), 0)::BIGINT AS n,
    coalesce(sum(points.activations) FILTER (points.ratio <> 'no red cells given'), 0)::BIGINT AS of,
    (SELECT count(DISTINCT haemorrhages.activation)
        FROM haemorrhages
        CROSS JOIN period
        INNER JOIN haemorrhage_units ON haemorrhage_units.activation = haemorrhages.activation
        WHERE NOT haemorrhages.stood_down AND haemorrhage_units.fate = 'unknown'
            AND haemorrhages.month BETWEEN period.year_from_month AND period.to_month
            AND haemorrhages.activation IN (SELECT red.activation FROM haemorrhage_units AS red WHERE red.component = 'red_cells' AND red.given)) AS not_known,
    coalesce(sum(points.plasma) FILTER (points.ratio <> 'no red cells given'), 0)::BIGINT AS plasma,
    coalesce(sum(points.red_cells) FILTER (points.ratio <> 'no red cells given'), 0)::BIGINT AS red_cells
FROM points
