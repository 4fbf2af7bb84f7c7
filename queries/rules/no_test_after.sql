-- no_test_after: no clotting test was done after the plasma.
--
-- of:        episode
-- reads:     dose_judged
-- fires:     no inr, pt_ratio or aptt_ratio after
-- not known: never
-- severity:  practice
-- source:    common practice: a clotting test guides each dose
SELECT
    dose_judged.episode_id AS key,
    dose_judged.episode_id,
    CASE
        WHEN dose_judged.inr_after_at IS NULL AND dose_judged.pt_ratio_after_at IS NULL AND dose_judged.aptt_ratio_after_at IS NULL THEN 'fired'
        ELSE 'clear'
    END AS result,
    dose_judged.inr_after_hours,
    dose_judged.pt_ratio_after_hours,
    dose_judged.aptt_ratio_after_hours
FROM dose_judged
