-- small_dose_answered: less than the band was given, and the test answered.
--
-- of:        episode
-- needs:     measures
-- reads:     dose_judged
-- fires:     course answered
-- not known: dose_band not known
-- severity:  practice
-- source:    common practice
SELECT
    dose_judged.episode_id AS key,
    dose_judged.episode_id,
    CASE
        WHEN dose_judged.dose_band = 'not_known' THEN 'not_known'
        WHEN dose_judged.course = 'answered' THEN 'fired'
        ELSE 'clear'
    END AS result,
    dose_judged.delivered_ml,
    dose_judged.weight_kg,
    dose_judged.dose,
    dose_judged.inr_before,
    dose_judged.inr_after,
    dose_judged.pt_ratio_before,
    dose_judged.pt_ratio_after
FROM dose_judged
WHERE dose_judged.population <> 'newborn'
