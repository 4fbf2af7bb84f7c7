-- dose_distribution: How much plasma did a patient get for their weight?
--
-- reads:     year_episodes
-- points:    dose: label; mL/kg
--            low: place; From
--            episodes: count; Episodes
-- answer:    n: count; Below the band
--            of: count; Episodes with a dose in one band
--            not_known: count; Dose or weight not known
--            median: number of of; Median mL/kg
-- means:     episodes: year, outcome transfused, dose_known true, dose_band not not_known, basis not plasma_exchange|circuit_prime|major_haemorrhage, in rows
--            answer n: year, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, dose_band below
--            answer of: year, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, dose_band below|within|above
--            answer not_known: year, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, dose_band not_known
-- needs:     episodes: measures
--            answer n: measures
-- not known: episodes without a usable weight or volume, or whose units of unknown fate or basis of weight decide the band; exchanges, circuits and major haemorrhage are left out
WITH

dosed AS (
    SELECT least(floor(year_episodes.dose / 2) * 2, 30) AS low
    FROM year_episodes
    WHERE year_episodes.outcome = 'transfused'
        AND year_episodes.dose_band <> 'not_known'
        AND year_episodes.basis NOT IN ('plasma_exchange', 'circuit_prime', 'major_haemorrhage')
)

SELECT
    CASE WHEN bins.low = 30 THEN '30 and more' ELSE bins.low || ' to ' || (bins.low + 2) END AS dose,
    bins.low::DOUBLE AS low,
    count(dosed.low) AS episodes
FROM (SELECT unnest(range(0, 32, 2)) AS low) AS bins
LEFT JOIN dosed ON dosed.low = bins.low
GROUP BY bins.low
ORDER BY bins.low
-- answer
SELECT
    count(*) FILTER (year_episodes.dose_band = 'below') AS n,
    count(*) FILTER (year_episodes.dose_band <> 'not_known') AS of,
    count(*) FILTER (year_episodes.dose_band = 'not_known') AS not_known,
    round(median(year_episodes.dose) FILTER (year_episodes.dose_band <> 'not_known'), 1) AS median
FROM year_episodes
WHERE year_episodes.outcome = 'transfused'
    AND year_episodes.basis NOT IN ('plasma_exchange', 'circuit_prime', 'major_haemorrhage')
