-- waste_by_weekday: On what day is the plasma thawed that is thrown away?
--
-- reads:     bags, period
-- points:    weekday: label; Day of the thaw
--            used: units; Given
--            lost: units; Thrown away
--            share: share; Share thrown away
-- answer:    n: units; Thrown away, thawed on Saturday or Sunday
--            of: units; Given or thrown away, thawed on Saturday or Sunday
--            not_known: units; Without a day of thaw
--            week_lost: units; Thrown away, thawed from Monday to Friday
--            week_of: units; Given or thrown away, thawed from Monday to Friday
-- not known: bags without a thaw
WITH

thawed AS (
    SELECT
        isodow(bags.thawed_local) AS day,
        bags.fate = 'discarded' AS lost
    FROM bags
    CROSS JOIN period
    WHERE bags.month BETWEEN period.year_from_month AND period.to_month
        AND bags.fate IN ('transfused', 'presumed', 'discarded')
        AND NOT bags.frozen_loss
)

SELECT
    days.weekday AS weekday,
    count(*) FILTER (NOT thawed.lost) AS used,
    count(*) FILTER (thawed.lost) AS lost,
    CASE WHEN count(thawed.lost) > 0 THEN count(*) FILTER (thawed.lost) / count(thawed.lost) END AS share
FROM (VALUES (1, 'Monday'), (2, 'Tuesday'), (3, 'Wednesday'), (4, 'Thursday'), (5, 'Friday'), (6, 'Saturday'), (7, 'Sunday')) AS days(day, weekday)
LEFT JOIN thawed ON thawed.day = days.day
GROUP BY days.day, days.weekday
ORDER BY days.day
-- answer
SELECT
    coalesce(sum(points.lost) FILTER (points.weekday IN ('Saturday', 'Sunday')), 0)::BIGINT AS n,
    coalesce(sum(points.lost + points.used) FILTER (points.weekday IN ('Saturday', 'Sunday')), 0)::BIGINT AS of,
    (SELECT count(*)
        FROM bags
        CROSS JOIN period
        WHERE bags.month BETWEEN period.year_from_month AND period.to_month
            AND bags.fate IN ('transfused', 'presumed', 'discarded')
            AND NOT bags.frozen_loss
            AND bags.thawed_local IS NULL) AS not_known,
    coalesce(sum(points.lost) FILTER (points.weekday NOT IN ('Saturday', 'Sunday')), 0)::BIGINT AS week_lost,
    coalesce(sum(points.lost + points.used) FILTER (points.weekday NOT IN ('Saturday', 'Sunday')), 0)::BIGINT AS week_of
FROM points
