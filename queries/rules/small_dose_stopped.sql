-- small_dose_stopped: less than the band was given, and the transfusion was stopped or units came back.
--
-- of:        episode
-- needs:     measures
-- reads:     dose_judged
-- fires:     course stopped
-- not known: dose_band not known
-- severity:  practice
-- source:    common practice
SELECT
    dose_judged.episode_id AS key,
    dose_judged.episode_id,
    CASE
        WHEN dose_judged.dose_band = 'not_known' THEN 'not_known'
        WHEN dose_judged.course = 'stopped' THEN 'fired'
        ELSE 'clear'
    END AS result,
    dose_judged.delivered_ml,
    dose_judged.weight_kg,
    dose_judged.dose,
    dose_judged.units_returned,
    dose_judged.units_discarded
FROM dose_judged
