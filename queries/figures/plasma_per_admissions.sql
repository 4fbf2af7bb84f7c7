-- plasma_per_admissions: How much plasma do we give for the patients we admit?
--
-- reads:     all_months, component_months, activity, period
-- points:    month: month; Month
--            plasma: units; Plasma units given
--            admissions: units; Admissions
-- answer:    plasma: units; Plasma units given
--            of: units; Admissions
-- not known: months without admissions in the activity feed; where it has a number for the whole hospital that one counts, else the sum over its places
WITH

counted AS (
    SELECT
        activity.month,
        CAST(round(coalesce(
            sum(activity.count) FILTER (activity.location IS NULL),
            sum(activity.count)
        )) AS BIGINT) AS admissions
    FROM activity
    WHERE activity.measure = 'admissions'
    GROUP BY activity.month
),

given AS (
    SELECT component_months.month, component_months.given
    FROM component_months
    WHERE component_months.component = 'plasma'
)

SELECT
    all_months.month AS month,
    coalesce(given.given, 0) AS plasma,
    counted.admissions AS admissions
FROM all_months
LEFT JOIN given ON given.month = all_months.month
LEFT JOIN counted ON counted.month = all_months.month
ORDER BY all_months.month
-- answer
SELECT
    coalesce(sum(points.plasma) FILTER (points.admissions > 0), 0)::BIGINT AS plasma,
    coalesce(sum(points.admissions), 0)::BIGINT AS of
FROM points
CROSS JOIN period
WHERE points.month >= period.from_month
