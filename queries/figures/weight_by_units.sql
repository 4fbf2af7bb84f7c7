-- weight_by_units: Do heavier patients get more units?
--
-- reads:     year_episodes
-- points:    weight: label; Weight
--            kg: place; Where the band stands
--            one: count; 1 unit
--            two: count; 2 units
--            three: count; 3 units
--            four: count; 4 units
--            more: count; 5 and more
-- answer:    n: count; Exactly two units, at 75 kg and more
--            of: count; Episodes of adults of 75 kg and more
--            not_known: count; Episodes of adults without a usable weight
--            bag: number of of; Mean mL of a bag given
-- means:     one + two + three + four + more: year, outcome transfused, population adult, basis not plasma_exchange|circuit_prime|major_haemorrhage, weight_known true, in rows
--            answer n: sum of two where weight 75 to 89 kg|90 kg and more
--            answer of: sum of one + two + three + four + more where weight 75 to 89 kg|90 kg and more
--            answer not_known: year, outcome transfused, population adult, basis not plasma_exchange|circuit_prime|major_haemorrhage, weight_known false
-- needs:     one + two + three + four + more: measures
--            answer n: measures
-- not known: episodes of adults without a usable weight; exchanges, circuits and major haemorrhage are left out
WITH

adults AS (
    SELECT
        year_episodes.weight_kg,
        least(year_episodes.units_given, 5) AS units
    FROM year_episodes
    WHERE year_episodes.outcome = 'transfused'
        AND year_episodes.population = 'adult'
        AND year_episodes.basis NOT IN ('plasma_exchange', 'circuit_prime', 'major_haemorrhage')
)

SELECT
    bands.weight AS weight,
    -- Its middle, those of the outer bands as far on.
    (45 + 15 * bands.place - 7.5)::DOUBLE AS kg,
    count(*) FILTER (adults.units = 1) AS one,
    count(*) FILTER (adults.units = 2) AS two,
    count(*) FILTER (adults.units = 3) AS three,
    count(*) FILTER (adults.units = 4) AS four,
    count(*) FILTER (adults.units = 5) AS more
FROM (VALUES (1, 'under 60 kg', 0, 60), (2, '60 to 74 kg', 60, 75), (3, '75 to 89 kg', 75, 90), (4, '90 kg and more', 90, 100000)) AS bands(place, weight, low, high)
LEFT JOIN adults ON adults.weight_kg >= bands.low AND adults.weight_kg < bands.high
GROUP BY bands.place, bands.weight
ORDER BY bands.place
-- answer
SELECT
    count(*) FILTER (year_episodes.units_given = 2 AND year_episodes.weight_kg >= 75) AS n,
    count(*) FILTER (year_episodes.weight_kg >= 75) AS of,
    count(*) FILTER (year_episodes.weight_kg IS NULL) AS not_known,
    CAST(round(sum(year_episodes.delivered_ml) FILTER (year_episodes.weight_kg IS NOT NULL) / nullif(sum(year_episodes.units_given) FILTER (year_episodes.weight_kg IS NOT NULL), 0)) AS DOUBLE) AS bag
FROM year_episodes
WHERE year_episodes.outcome = 'transfused'
    AND year_episodes.population = 'adult'
    AND year_episodes.basis NOT IN ('plasma_exchange', 'circuit_prime', 'major_haemorrhage')
