-- safety_gaps: Are the rare safety findings getting rarer?
--
-- reads:     rules, rules_run, safety_dates, months
-- points:    event: label; Event
--            days: number; Days since the one before
-- answer:    events: count; Days with such a finding
--            months: units; Months looked at
--            median: number of events; Median days between two
--            rules: label; The rules, each with fewer than one finding a month
-- not known: several findings of one day are one event. No dates are shown, and nothing at all of fewer than nine events
WITH

rare AS (
    SELECT rules_run.finding
    FROM rules_run
    INNER JOIN rules ON rules.finding = rules_run.finding AND rules.severity = 'safety'
    WHERE rules_run.run
        AND (SELECT count(*) FROM safety_dates INNER JOIN months ON months.month = safety_dates.month WHERE safety_dates.finding = rules_run.finding)
            < (SELECT count(*) FROM months)
),

days AS (
    SELECT DISTINCT safety_dates.day
    FROM safety_dates
    INNER JOIN rare ON rare.finding = safety_dates.finding
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
WITH

rare AS (
    SELECT rules_run.finding
    FROM rules_run
    INNER JOIN rules ON rules.finding = rules_run.finding AND rules.severity = 'safety'
    WHERE rules_run.run
        AND (SELECT count(*) FROM safety_dates INNER JOIN months ON months.month = safety_dates.month WHERE safety_dates.finding = rules_run.finding)
            < (SELECT count(*) FROM months)
)

SELECT
    (SELECT count(DISTINCT safety_dates.day)
        FROM safety_dates
        INNER JOIN rare ON rare.finding = safety_dates.finding
        INNER JOIN months ON months.month = safety_dates.month) AS events,
    (SELECT count(*) FROM months) AS months,
    (SELECT median(points.days) FROM points) AS median,
    coalesce((SELECT string_agg(replace(rare.finding, '_', ' '), ', ' ORDER BY rare.finding) FROM rare), 'none') AS rules
