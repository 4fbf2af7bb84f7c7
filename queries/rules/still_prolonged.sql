-- still_prolonged: the same test is over its limit before and after.
--
-- of:        episode
-- reads:     dose_judged
-- fires:     inr or pt_ratio over its limit before and after
-- not known: over before, and after there is no result or one that does not decide
-- severity:  practice
-- source:    common practice; policy over_bleeding and the limits of procedures
SELECT
    dose_judged.episode_id AS key,
    dose_judged.episode_id,
    CASE
        WHEN (dose_judged.criterion_inr AND dose_judged.inr_over_after) OR (dose_judged.criterion_pt_ratio AND dose_judged.pt_ratio_over_after) THEN 'fired'
        WHEN (dose_judged.criterion_inr IS NULL AND dose_judged.inr_over_after) OR (dose_judged.criterion_pt_ratio IS NULL AND dose_judged.pt_ratio_over_after) THEN 'not_known'
        WHEN (dose_judged.criterion_inr AND dose_judged.inr_over_after IS NULL) OR (dose_judged.criterion_pt_ratio AND dose_judged.pt_ratio_over_after IS NULL) THEN 'not_known'
        ELSE 'clear'
    END AS result,
    dose_judged.inr_before,
    dose_judged.inr_after,
    dose_judged.pt_ratio_before,
    dose_judged.pt_ratio_after,
    dose_judged.over
FROM dose_judged
WHERE dose_judged.population <> 'newborn'
