-- fibrinogen_only: only a low fibrinogen was shown, which plasma raises little.
--
-- of:        episode
-- reads:     dose_judged
-- fires:     shown_by is fibrinogen alone
-- not known: coagulopathy not known
-- severity:  practice
-- source:    common practice
SELECT
    dose_judged.episode_id AS key,
    dose_judged.episode_id,
    CASE
        WHEN dose_judged.coagulopathy = 'not_known' THEN 'not_known'
        WHEN dose_judged.shown_by = 'fibrinogen' THEN 'fired'
        ELSE 'clear'
    END AS result,
    dose_judged.fibrinogen_before,
    dose_judged.fibrinogen_before_hours
FROM dose_judged
WHERE dose_judged.population <> 'newborn'
