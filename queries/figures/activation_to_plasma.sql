-- activation_to_plasma: How fast did plasma reach a major haemorrhage?
--
-- reads:     haemorrhages, haemorrhage_units, period
-- points:    step: label; From the call to
--            activations: count; Activations
--            low: number of activations; Lower quartile, min
--            median: number of activations; Median, min
--            high: number of activations; Upper quartile, min
-- answer:    n: count; With the times of the call and of the first plasma
--            of: count; Activations not stood down
--            not_known: count; Without the time of the call, or without plasma
--            issued: number of n; Median minutes to the first issue
-- adds up:   no
-- not known: activations that only a unit tells have no time of the call; those without plasma have no first one. Plasma issued before the call is left out
WITH

firsts AS (
    SELECT
        haemorrhages.activation,
        60 * hours_between(haemorrhages.activated_at, min(haemorrhage_units.issued_at)) AS to_issue,
        60 * hours_between(haemorrhages.activated_at, min(haemorrhage_units.started_at)) AS to_start
    FROM haemorrhages
    CROSS JOIN period
    LEFT JOIN haemorrhage_units
        ON haemorrhage_units.activation = haemorrhages.activation
        AND haemorrhage_units.component = 'plasma'
        AND haemorrhage_units.issued_at >= haemorrhages.activated_at
    WHERE NOT haemorrhages.stood_down AND haemorrhages.month BETWEEN period.year_from_month AND period.to_month
    GROUP BY haemorrhages.activation, haemorrhages.activated_at
),

steps AS (
    SELECT 1 AS place, firsts.to_issue AS minutes FROM firsts
    UNION ALL
    SELECT 2, firsts.to_start FROM firsts
)

SELECT
    CASE steps.place WHEN 1 THEN 'first issue' ELSE 'first start' END AS step,
    count(steps.minutes) AS activations,
    round(quantile_cont(steps.minutes, 0.25), 1) AS low,
    round(median(steps.minutes), 1) AS median,
    round(quantile_cont(steps.minutes, 0.75), 1) AS high
FROM steps
GROUP BY steps.place
ORDER BY steps.place
-- answer
SELECT
    coalesce(max(points.activations) FILTER (points.step = 'first issue'), 0) AS n,
    asked.activations AS of,
    asked.activations - coalesce(max(points.activations) FILTER (points.step = 'first issue'), 0) AS not_known,
    round(max(points.median) FILTER (points.step = 'first issue'), 0) AS issued
FROM (
    SELECT count(*) AS activations
    FROM haemorrhages
    CROSS JOIN period
    WHERE NOT haemorrhages.stood_down AND haemorrhages.month BETWEEN period.year_from_month AND period.to_month
) AS asked
LEFT JOIN points ON true
GROUP BY asked.activations
