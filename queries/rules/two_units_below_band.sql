-- two_units_below_band: exactly two units were given and the dose is below the band.
--
-- of:        episode
-- needs:     measures
-- reads:     dose_judged
-- fires:     two units given, dose_band below
-- not known: two units given, dose_band not known
-- severity:  practice
-- source:    common practice; published audits find a median of two units (see policy dose_low)
SELECT
    dose_judged.episode_id AS key,
    dose_judged.episode_id,
    CASE
        WHEN dose_judged.units_given <> 2 THEN 'clear'
        WHEN dose_judged.dose_band = 'not_known' THEN 'not_known'
        WHEN dose_judged.dose_band = 'below' THEN 'fired'
        ELSE 'clear'
    END AS result,
    dose_judged.units_given,
    dose_judged.delivered_ml,
    dose_judged.weight_kg,
    dose_judged.dose
FROM dose_judged
