-- activation_to_plasma: How fast did plasma reach a major haemorrhage?
--
-- reads:     haemorrhage_courses, period
-- points:    step: label; From the call to
--            activations: count; Activations
--            low: number of activations; Lower quartile, min
--            median: number of activations; Median, min
--            high: number of activations; Upper quartile, min
-- answer:    n: count; With the times of the call and of the first plasma
--            of: count; Activations not stood down
--            not_known: count; Without the time of the call, or without plasma
--            issued: number of n; Median minutes to the first issue
-- means:     activations: year, of haemorrhage_courses, stood_down false, @step true
--            answer n: year, of haemorrhage_courses, stood_down false, first_issue true
--            answer of: year, of haemorrhage_courses, stood_down false
--            answer not_known: year, of haemorrhage_courses, stood_down false, first_issue false
-- needs:     activations: events
--            answer n: events
-- adds up:   no
-- not known: activations that only a unit tells have no time of the call; those without plasma have no first one. Plasma issued before the call is left out
WITH

asked AS (
    SELECT
        haemorrhage_courses.minutes_to_issue,
        haemorrhage_courses.minutes_to_start
    FROM haemorrhage_courses
    INNER JOIN period ON haemorrhage_courses.month BETWEEN period.year_from_month AND period.to_month
    WHERE NOT haemorrhage_courses.stood_down
),

steps AS (
    SELECT 1 AS place, asked.minutes_to_issue AS minutes FROM asked
    UNION ALL
    SELECT 2, asked.minutes_to_start FROM asked
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
    count(haemorrhage_courses.minutes_to_issue) AS n,
    count(*) AS of,
    count(*) FILTER (haemorrhage_courses.minutes_to_issue IS NULL) AS not_known,
    round(median(haemorrhage_courses.minutes_to_issue), 0) AS issued
FROM haemorrhage_courses
INNER JOIN period ON haemorrhage_courses.month BETWEEN period.year_from_month AND period.to_month
WHERE NOT haemorrhage_courses.stood_down
