-- result_not_awaited: plasma was asked for before the result that would show a coagulopathy was there.
--
-- of:        episode
-- reads:     judged_episodes
-- fires:     basis procedure, none_found or not_known; coagulopathy shown; no criterion that holds was known in time
-- not known: of no criterion that holds was the result known in time, and of one it is not known
-- severity:  practice
-- source:    common practice: a result is awaited where nobody bleeds
SELECT
    judged_episodes.episode_id AS key,
    judged_episodes.episode_id,
    CASE
        WHEN judged_episodes.coagulopathy <> 'shown' OR NOT (starts_with(judged_episodes.basis, 'procedure') OR judged_episodes.basis IN ('none_found', 'not_known')) THEN 'clear'
        WHEN (judged_episodes.criterion_inr AND judged_episodes.inr_before_known) OR (judged_episodes.criterion_pt_ratio AND judged_episodes.pt_ratio_before_known) OR (judged_episodes.criterion_aptt_ratio AND judged_episodes.aptt_ratio_before_known) OR (judged_episodes.criterion_viscoelastic AND judged_episodes.viscoelastic_before_known) OR (judged_episodes.criterion_fibrinogen AND judged_episodes.fibrinogen_before_known) THEN 'clear'
        WHEN (judged_episodes.criterion_inr AND judged_episodes.inr_before_known IS NULL) OR (judged_episodes.criterion_pt_ratio AND judged_episodes.pt_ratio_before_known IS NULL) OR (judged_episodes.criterion_aptt_ratio AND judged_episodes.aptt_ratio_before_known IS NULL) OR (judged_episodes.criterion_viscoelastic AND judged_episodes.viscoelastic_before_known IS NULL) OR (judged_episodes.criterion_fibrinogen AND judged_episodes.fibrinogen_before_known IS NULL) THEN 'not_known'
        WHEN true THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_episodes.shown_by,
    judged_episodes.inr_before_hours,
    judged_episodes.pt_ratio_before_hours,
    judged_episodes.aptt_ratio_before_hours,
    judged_episodes.viscoelastic_before_hours,
    judged_episodes.fibrinogen_before_hours
FROM judged_episodes
WHERE judged_episodes.population <> 'newborn'
