-- waste_by_weekday: On what day is the plasma thawed that is thrown away?
--
-- reads:     thawed_bags
-- points:    weekday: label; Day of the thaw
--            used: units; Given, presumed too
--            lost: units; Thrown away
--            share: share; Share thrown away
-- answer:    n: units; Thrown away, thawed on Saturday or Sunday
--            of: units; Given or thrown away, thawed on Saturday or Sunday
--            not_known: units; Without a day of thaw
--            week_lost: units; Thrown away, thawed from Monday to Friday
--            week_of: units; Given or thrown away, thawed from Monday to Friday
-- not known: bags without a thaw
SELECT
    days.weekday AS weekday,
    count(*) FILTER (NOT thawed_bags.lost) AS used,
    count(*) FILTER (thawed_bags.lost) AS lost,
    CASE WHEN count(thawed_bags.lost) > 0 THEN count(*) FILTER (thawed_bags.lost) / count(thawed_bags.lost) END AS share
FROM (VALUES (1, 'Monday'), (2, 'Tuesday'), (3, 'Wednesday'), (4, 'Thursday'), (5, 'Friday'), (6, 'Saturday'), (7, 'Sunday')) AS days(day, weekday)
LEFT JOIN thawed_bags ON thawed_bags.weekday = days.day
GROUP BY days.day, days.weekday
ORDER BY days.day
-- answer
SELECT
    coalesce(sum(points.lost) FILTER (points.weekday IN ('Saturday', 'Sunday')), 0)::BIGINT AS n,
    coalesce(sum(points.lost + points.used) FILTER (points.weekday IN ('Saturday', 'Sunday')), 0)::BIGINT AS of,
    (SELECT count(*) FROM thawed_bags WHERE thawed_bags.weekday IS NULL) AS not_known,
    coalesce(sum(points.lost) FILTER (points.weekday NOT IN ('Saturday', 'Sunday')), 0)::BIGINT AS week_lost,
    coalesce(sum(points.lost + points.used) FILTER (points.weekday NOT IN ('Saturday', 'Sunday')), 0)::BIGINT AS week_of
FROM points
