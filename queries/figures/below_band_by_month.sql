-- below_band_by_month: Is the share of doses below the band changing?
--
-- reads:     all_months, episodes, period_episodes
-- points:    month: month; Month
--            below: count; Below the band
--            dosed: count; With a dose in one band
--            share: share of below, dosed; Share below
-- answer:    n: count; Below the band
--            of: count; With a dose in one band
--            not_known: count; Dose or weight not known
-- means:     below: month, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, dose_band below
--            dosed: month, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, dose_band below|within|above
--            answer n: period, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, dose_band below
--            answer of: period, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, dose_band below|within|above
--            answer not_known: period, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage, dose_band not_known
-- needs:     below + dosed: dose band
--            answer n: dose band
-- not known: episodes without a usable weight or volume; exchanges, circuits and major haemorrhage are left out
SELECT
    all_months.month AS month,
    count(*) FILTER (episodes.dose_band = 'below') AS below,
    count(episodes.dose_band) AS dosed,
    CASE WHEN count(episodes.dose_band) > 0 THEN count(*) FILTER (episodes.dose_band = 'below') / count(episodes.dose_band) END AS share
FROM all_months
LEFT JOIN episodes
    ON episodes.month = all_months.month
    AND episodes.outcome = 'transfused'
    AND episodes.basis NOT IN ('plasma_exchange', 'circuit_prime', 'major_haemorrhage')
    AND episodes.dose_band <> 'not_known'
GROUP BY all_months.month
ORDER BY all_months.month
-- answer
SELECT
    count(*) FILTER (period_episodes.dose_band = 'below') AS n,
    count(*) FILTER (period_episodes.dose_band <> 'not_known') AS of,
    count(*) FILTER (period_episodes.dose_band = 'not_known') AS not_known
FROM period_episodes
WHERE period_episodes.outcome = 'transfused'
    AND period_episodes.basis NOT IN ('plasma_exchange', 'circuit_prime', 'major_haemorrhage')
