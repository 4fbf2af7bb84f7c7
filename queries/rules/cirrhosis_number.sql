-- cirrhosis_number: in liver disease without bleeding a prolonged INR or PT ratio alone was treated.
--
-- of:        episode
-- needs:     events
-- reads:     judged_episodes
-- fires:     liver disease, basis procedure or none_found, shown by inr or pt_ratio alone
-- not known: never: the events feed is needed
-- severity:  practice
-- source:    common practice: the INR does not tell the bleeding risk of cirrhosis
SELECT
    judged_episodes.episode_id AS key,
    judged_episodes.episode_id,
    CASE
        WHEN judged_episodes.liver_disease AND (starts_with(judged_episodes.basis, 'procedure') OR judged_episodes.basis = 'none_found') AND judged_episodes.shown_by IN ('inr', 'pt_ratio', 'inr pt_ratio') THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_episodes.inr_before,
    judged_episodes.pt_ratio_before,
    judged_episodes.over
FROM judged_episodes
WHERE judged_episodes.population <> 'newborn'
