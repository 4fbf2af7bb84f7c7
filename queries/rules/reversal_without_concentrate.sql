-- reversal_without_concentrate: a vitamin K antagonist was reversed with plasma, and no prothrombin complex is recorded.
--
-- of:        episode
-- needs:     medicines
-- reads:     dose_judged
-- fires:     vitamin K antagonist or indication reversal, INR or PT ratio over its limit, no prothrombin complex within 24 h
-- not known: an antagonist or the indication stands and neither INR nor PT ratio decides
-- severity:  practice
-- source:    common practice: a concentrate is first choice for reversal
SELECT
    dose_judged.episode_id AS key,
    dose_judged.episode_id,
    CASE
        WHEN dose_judged.reversal THEN 'fired'
        WHEN dose_judged.reversal_open THEN 'not_known'
        ELSE 'clear'
    END AS result,
    dose_judged.inr_before,
    dose_judged.pt_ratio_before,
    dose_judged.over,
    dose_judged.alternative
FROM dose_judged
WHERE dose_judged.population <> 'newborn'
