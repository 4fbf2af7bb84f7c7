-- times_by_step: How long did plasma take from one step to the next?
--
-- reads:     plasma_spans, period, policy
-- points:    step: label; Step
--            units: units; Units with both times
--            low: number; Lower quartile, min
--            median: number; Median, min
--            high: number; Upper quartile, min
--            limit_min: number; Limit, min
--            beyond: count; Beyond the limit
--            share: share of beyond; Share beyond
--            lacking: units; Lack a time
-- answer:    n: count; Beyond a limit
--            of: units; Units given with every time that a limit asks for
--            not_known: units; Units given without one
--            request: number; Median minutes from request to issue
-- means:     beyond: alone, units beyond a limit are hidden where they are few, as their episodes are among the findings
--            answer n: alone, units beyond a limit are hidden where they are few, as their episodes are among the findings
-- not known: times that are missing or told as a date alone; starts and ends are asked of units given alone. A unit that nobody saw leave storage left it when it was issued
WITH

asked AS (
    SELECT plasma_spans.*
    FROM plasma_spans
    CROSS JOIN period
    WHERE plasma_spans.month BETWEEN period.from_month AND period.to_month
),

steps AS (
    SELECT 1 AS place, asked.request_to_issue AS minutes, CAST(NULL AS DOUBLE) AS limit_min FROM asked
    UNION ALL
    SELECT 2, asked.thaw_to_issue, NULL FROM asked
    UNION ALL
    SELECT 3, asked.issue_to_start, asked.start_limit FROM asked WHERE asked.given
    UNION ALL
    SELECT 4, asked.storage_to_end, asked.end_limit FROM asked WHERE asked.given
),

-- The limits in force today head the table; a unit is judged by those of its day.
limits AS (
    SELECT
        any_value(policy.issue_to_start_min) AS start_limit,
        60 * any_value(policy.storage_to_end_h) AS end_limit
    FROM policy
    WHERE policy.until_date IS NULL
)

SELECT
    names.step AS step,
    count(steps.minutes) AS units,
    round(quantile_cont(steps.minutes, 0.25), 1) AS low,
    round(median(steps.minutes), 1) AS median,
    round(quantile_cont(steps.minutes, 0.75), 1) AS high,
    any_value(CASE names.place WHEN 3 THEN limits.start_limit WHEN 4 THEN limits.end_limit END)::DOUBLE AS limit_min,
    CASE WHEN count(steps.minutes) FILTER (steps.limit_min IS NOT NULL) > 0 THEN count(*) FILTER (steps.minutes > steps.limit_min) END AS beyond,
    CASE WHEN count(steps.minutes) FILTER (steps.limit_min IS NOT NULL) > 0
        THEN count(*) FILTER (steps.minutes > steps.limit_min) / count(steps.minutes) FILTER (steps.limit_min IS NOT NULL) END AS share,
    count(steps.place) - count(steps.minutes) AS lacking
FROM (VALUES (1, 'request to issue'), (2, 'thaw to issue'), (3, 'issue to start'), (4, 'storage to end')) AS names(place, step)
CROSS JOIN limits
LEFT JOIN steps ON steps.place = names.place
GROUP BY names.place, names.step
ORDER BY names.place
-- answer
WITH judged AS (
    SELECT
        plasma_spans.request_to_issue,
        plasma_spans.given AND (plasma_spans.start_limit IS NOT NULL OR plasma_spans.end_limit IS NOT NULL) AS asked,
        coalesce(plasma_spans.issue_to_start > plasma_spans.start_limit, false) OR coalesce(plasma_spans.storage_to_end > plasma_spans.end_limit, false) AS beyond,
        (plasma_spans.start_limit IS NOT NULL AND plasma_spans.issue_to_start IS NULL)
        OR (plasma_spans.end_limit IS NOT NULL AND plasma_spans.storage_to_end IS NULL) AS lacking
    FROM plasma_spans
    CROSS JOIN period
    WHERE plasma_spans.month BETWEEN period.from_month AND period.to_month
)

-- What is known of a unit that lacks a time would be told by how many it makes: it is
-- in the table alone.
SELECT
    count(*) FILTER (judged.asked AND judged.beyond AND NOT judged.lacking) AS n,
    count(*) FILTER (judged.asked AND NOT judged.lacking) AS of,
    count(*) FILTER (judged.asked AND judged.lacking) AS not_known,
    round(median(judged.request_to_issue), 0) AS request
FROM judged
