-- units_given: How many units did an episode take?
--
-- reads:     year_episodes
-- points:    units: label; Units given
--            episodes: count; Episodes
-- answer:    n: count; Exactly two units
--            of: count; Episodes given
-- means:     episodes: year, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, by units
--            answer n: year, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, units 2
--            answer of: year, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, units not 0
-- hidden:    first
-- not known: exchanges, circuits and major haemorrhage are left out
SELECT
    CASE WHEN bins.units = 8 THEN '8 and more' ELSE bins.units::VARCHAR END AS units,
    count(given.units) AS episodes
FROM (SELECT unnest(range(1, 9)) AS units) AS bins
LEFT JOIN (
    SELECT least(year_episodes.units_given, 8) AS units
    FROM year_episodes
    WHERE year_episodes.outcome = 'transfused'
        AND year_episodes.basis NOT IN ('plasma_exchange', 'circuit_prime', 'major_haemorrhage')
) AS given ON given.units = bins.units
GROUP BY bins.units
ORDER BY bins.units
-- answer
SELECT
    coalesce(sum(points.episodes) FILTER (points.units = '2'), 0)::BIGINT AS n,
    coalesce(sum(points.episodes), 0)::BIGINT AS of
FROM points
