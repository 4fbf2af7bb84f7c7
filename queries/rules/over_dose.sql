-- over_dose: the dose is above the band.
--
-- of:        episode
-- needs:     measures
-- reads:     dose_judged
-- fires:     dose_band above
-- not known: dose_band not known
-- severity:  practice
-- source:    policy dose_high, dose_tolerance
SELECT
    dose_judged.episode_id AS key,
    dose_judged.episode_id,
    CASE
        WHEN dose_judged.dose_band = 'not_known' THEN 'not_known'
        WHEN dose_judged.dose_band = 'above' THEN 'fired'
        ELSE 'clear'
    END AS result,
    dose_judged.delivered_ml,
    dose_judged.weight_kg,
    dose_judged.dose
FROM dose_judged
