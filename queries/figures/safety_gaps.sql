-- safety_gaps: Are the rare safety findings getting rarer?
--
-- reads:     rare_findings, safety_dates, months
-- points:    event: label; Event
--            days: number; Days since the one before
-- answer:    events: count; Days with such a finding
--            months: units; Months looked at
--            median: number of events; Median days between two
--            rules: label; The rules, each with fewer than one finding a month
-- means:     answer events: alone, it counts days
-- not known: several findings of one day are one event. No dates are shown, and nothing at all of fewer than nine events
WITH

days AS (
    SELECT DISTINCT safety_dates.day
    FROM safety_dates
    INNER JOIN rare_findings ON rare_findings.finding = safety_dates.finding
    INNER JOIN months ON months.month = safety_dates.month
),

gaps AS (
    SELECT
        row_number() OVER (ORDER BY days.day) - 1 AS event,
        days.day - lag(days.day) OVER (ORDER BY days.day) AS days
    FROM days
)

SELECT
    gaps.event::VARCHAR AS event,
    gaps.days::DOUBLE AS days
FROM gaps
WHERE gaps.event > 0 AND (SELECT count(*) FROM days) >= 9
ORDER BY gaps.event
-- answer
SELECT
    (SELECT count(DISTINCT safety_dates.day)
        FROM safety_dates
        INNER JOIN rare_findings ON rare_findings.finding = safety_dates.finding
        INNER JOIN months ON months.month = safety_dates.month) AS events,
    (SELECT count(*) FROM months) AS months,
    (SELECT median(points.days) FROM points) AS median,
    coalesce((SELECT string_agg(replace(rare_findings.finding, '_', ' '), ', ' ORDER BY rare_findings.finding) FROM rare_findings), 'none') AS rules
