-- waste_by_hour: At what hour is the plasma thawed that is thrown away?
--
-- reads:     thawed_bags
-- points:    hour: label; Hour of the thaw
--            used: units; Given, presumed too
--            lost: units; Thrown away
--            share: share; Share thrown away
-- answer:    n: units; Thrown away, thawed from 20 to 8
--            of: units; Given or thrown away, thawed from 20 to 8
--            not_known: units; Without an hour of thaw
--            day_lost: units; Thrown away, thawed from 8 to 20
--            day_of: units; Given or thrown away, thawed from 8 to 20
-- not known: bags without a thaw, or with a thaw told as a date alone (midnight sharp is taken for one)
SELECT
    hours.hour::VARCHAR AS hour,
    count(*) FILTER (NOT thawed_bags.lost) AS used,
    count(*) FILTER (thawed_bags.lost) AS lost,
    CASE WHEN count(thawed_bags.lost) > 0 THEN count(*) FILTER (thawed_bags.lost) / count(thawed_bags.lost) END AS share
FROM (SELECT unnest(range(0, 24)) AS hour) AS hours
LEFT JOIN thawed_bags ON thawed_bags.hour = hours.hour
GROUP BY hours.hour
ORDER BY hours.hour
-- answer
SELECT
    coalesce(sum(points.lost) FILTER (points.hour::INTEGER >= 20 OR points.hour::INTEGER < 8), 0)::BIGINT AS n,
    coalesce(sum(points.lost + points.used) FILTER (points.hour::INTEGER >= 20 OR points.hour::INTEGER < 8), 0)::BIGINT AS of,
    (SELECT count(*) FROM thawed_bags WHERE thawed_bags.hour IS NULL) AS not_known,
    coalesce(sum(points.lost) FILTER (points.hour::INTEGER BETWEEN 8 AND 19), 0)::BIGINT AS day_lost,
    coalesce(sum(points.lost + points.used) FILTER (points.hour::INTEGER BETWEEN 8 AND 19), 0)::BIGINT AS day_of
FROM points
