-- plasma_per_red_cells: How much plasma do we give to the red cells?
--
-- reads:     all_months, component_months, period
-- points:    month: month; Month
--            plasma: units; Plasma units given
--            red_cells: units; Red-cell units given
-- answer:    plasma: units; Plasma units given
--            of: units; Red-cell units given
-- not known: units of unknown fate; a unit is of the month of its issue
SELECT
    all_months.month AS month,
    coalesce(sum(component_months.given) FILTER (component_months.component = 'plasma'), 0)::BIGINT AS plasma,
    coalesce(sum(component_months.given) FILTER (component_months.component = 'red_cells'), 0)::BIGINT AS red_cells
FROM all_months
LEFT JOIN component_months ON component_months.month = all_months.month
GROUP BY all_months.month
ORDER BY all_months.month
-- answer
SELECT
    coalesce(sum(points.plasma), 0)::BIGINT AS plasma,
    coalesce(sum(points.red_cells), 0)::BIGINT AS of
FROM points
CROSS JOIN period
WHERE points.month >= period.from_month
