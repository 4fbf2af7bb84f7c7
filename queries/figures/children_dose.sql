-- children_dose: How much plasma did newborns and children get for their weight?
--
-- reads:     year_episodes, policy
-- points:    population: label; Who
--            below: count; Below their band
--            within: count; Within
--            above: count; Above
--            not_known: count; Dose not known
--            median: number of below, within, above; Median mL/kg
-- answer:    n: count; Below their band
--            of: count; With a dose in one band
--            not_known: count; Dose or weight not known
--            low: number; Low end of their band, mL/kg
--            high: number; High end of their band, mL/kg
-- means:     below: year, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, dose_band below, by population
--            within: year, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, dose_band within, by population
--            above: year, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, dose_band above, by population
--            not_known: year, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, dose_band not_known, by population
--            answer n: sum of below
--            answer of: sum of below + within + above
--            answer not_known: sum of not_known
-- needs:     below + within + above + not_known: patients
--            below + within + above: measures
-- not known: episodes without a usable weight, and newborns given a part of a bag of which nobody wrote how much; exchanges, circuits and major haemorrhage are left out
SELECT
    people.population AS population,
    count(*) FILTER (year_episodes.dose_band = 'below') AS below,
    count(*) FILTER (year_episodes.dose_band = 'within') AS within,
    count(*) FILTER (year_episodes.dose_band = 'above') AS above,
    count(*) FILTER (year_episodes.dose_band = 'not_known') AS not_known,
    round(median(year_episodes.dose) FILTER (year_episodes.dose_band <> 'not_known'), 1) AS median
FROM (VALUES (1, 'newborn'), (2, 'child')) AS people(place, population)
LEFT JOIN year_episodes
    ON year_episodes.population = people.population
    AND year_episodes.outcome = 'transfused'
    AND year_episodes.basis NOT IN ('plasma_exchange', 'circuit_prime', 'major_haemorrhage')
GROUP BY people.place, people.population
ORDER BY people.place
-- answer
SELECT
    coalesce(sum(points.below), 0)::BIGINT AS n,
    coalesce(sum(points.below + points.within + points.above), 0)::BIGINT AS of,
    coalesce(sum(points.not_known), 0)::BIGINT AS not_known,
    (SELECT any_value(policy.child_dose_low) FROM policy WHERE policy.until_date IS NULL)::DOUBLE AS low,
    (SELECT any_value(policy.child_dose_high) FROM policy WHERE policy.until_date IS NULL)::DOUBLE AS high
FROM points
