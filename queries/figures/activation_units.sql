-- activation_units: What became of the units that were issued in major haemorrhages?
--
-- reads:     haemorrhages, haemorrhage_units, period
-- points:    component: label; Component
--            given: units; Given
--            presumed: units; Presumed given
--            lost: units; Thrown away
--            returned: units; Returned
--            other: units; Transferred or unknown
--            share: share; Share thrown away
-- answer:    n: units; Plasma units thrown away
--            of: units; Plasma units issued
--            not_known: units; Plasma units of unknown fate
--            red_cells: units; Red-cell units given
-- not known: units of unknown fate stand among the others. Haemorrhages that were stood down are among these, and not in the ratio above
WITH

asked AS (
    SELECT
        haemorrhage_units.component,
        haemorrhage_units.fate
    FROM haemorrhage_units
    INNER JOIN haemorrhages ON haemorrhages.activation = haemorrhage_units.activation
    CROSS JOIN period
    WHERE haemorrhages.month BETWEEN period.year_from_month AND period.to_month
)

SELECT
    kinds.component AS component,
    count(*) FILTER (asked.fate = 'transfused') AS given,
    count(*) FILTER (asked.fate = 'presumed') AS presumed,
    count(*) FILTER (asked.fate = 'discarded') AS lost,
    count(*) FILTER (asked.fate = 'returned') AS returned,
    count(*) FILTER (asked.fate IN ('transferred', 'unknown')) AS other,
    CASE WHEN count(asked.fate) > 0 THEN count(*) FILTER (asked.fate = 'discarded') / count(asked.fate) END AS share
FROM (VALUES (1, 'plasma', 'plasma'), (2, 'red_cells', 'red cells'), (3, 'platelets', 'platelets'), (4, 'cryoprecipitate', 'cryoprecipitate')) AS kinds(place, name, component)
LEFT JOIN asked ON asked.component = kinds.name
GROUP BY kinds.place, kinds.component
ORDER BY kinds.place
-- answer
SELECT
    coalesce(sum(points.lost) FILTER (points.component = 'plasma'), 0)::BIGINT AS n,
    coalesce(sum(points.given + points.presumed + points.lost + points.returned + points.other) FILTER (points.component = 'plasma'), 0)::BIGINT AS of,
    (SELECT count(*)
        FROM haemorrhage_units
        INNER JOIN haemorrhages ON haemorrhages.activation = haemorrhage_units.activation
        CROSS JOIN period
        WHERE haemorrhages.month BETWEEN period.year_from_month AND period.to_month
            AND haemorrhage_units.component = 'plasma' AND haemorrhage_units.fate = 'unknown') AS not_known,
    coalesce(sum(points.given + points.presumed) FILTER (points.component = 'red cells'), 0)::BIGINT AS red_cells
FROM points
