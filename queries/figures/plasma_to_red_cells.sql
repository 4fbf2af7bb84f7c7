-- plasma_to_red_cells: In what ratio were plasma and red cells given in a major haemorrhage?
--
-- reads:     haemorrhage_courses, period
-- points:    ratio: label; Plasma to red cells given
--            activations: count; Activations
--            plasma: number of activations; Plasma units given
--            red_cells: number of activations; Red-cell units given
-- answer:    n: count; At least one plasma to two red cells
--            of: count; Activations in which red cells were given
--            not_known: count; Of these, with units of unknown fate
--            plasma: number of of; Plasma units given
--            red_cells: number of of; Red-cell units given
-- means:     activations: year, of haemorrhage_courses, stood_down false, by ratio
--            answer n: year, of haemorrhage_courses, stood_down false, enough_plasma true
--            answer of: year, of haemorrhage_courses, stood_down false, with_red_cells true
--            answer not_known: year, of haemorrhage_courses, stood_down false, unknown_beside_red_cells true
-- not known: activations that were stood down are left out; units of unknown fate count as not given
WITH asked AS (
    SELECT haemorrhage_courses.*
    FROM haemorrhage_courses
    INNER JOIN period ON haemorrhage_courses.month BETWEEN period.year_from_month AND period.to_month
    WHERE NOT haemorrhage_courses.stood_down
)

SELECT
    bands.ratio AS ratio,
    count(asked.activation) AS activations,
    coalesce(sum(asked.plasma), 0)::BIGINT AS plasma,
    coalesce(sum(asked.red_cells), 0)::BIGINT AS red_cells
FROM (VALUES (1, 'under 1 to 2'), (2, '1 to 2, under 1 to 1'), (3, '1 to 1 and more'), (4, 'no red cells given')) AS bands(place, ratio)
LEFT JOIN asked ON asked.ratio = bands.ratio
GROUP BY bands.place, bands.ratio
ORDER BY bands.place
-- answer
SELECT
    count(*) FILTER (haemorrhage_courses.enough_plasma) AS n,
    count(*) FILTER (haemorrhage_courses.with_red_cells) AS of,
    count(*) FILTER (haemorrhage_courses.unknown_beside_red_cells) AS not_known,
    coalesce(sum(haemorrhage_courses.plasma) FILTER (haemorrhage_courses.with_red_cells), 0)::BIGINT AS plasma,
    coalesce(sum(haemorrhage_courses.red_cells) FILTER (haemorrhage_courses.with_red_cells), 0)::BIGINT AS red_cells
FROM haemorrhage_courses
INNER JOIN period ON haemorrhage_courses.month BETWEEN period.year_from_month AND period.to_month
WHERE NOT haemorrhage_courses.stood_down
