-- less_than_expected: the INR fell by less than half of the expected fall, or rose.
--
-- of:        episode
-- needs:     medicines
-- reads:     dose_judged, confounded_responses, policy, episode_times
-- fires:     basis not bleeding, INR before at or over response_from_inr, both from the laboratory, response not confounded, fall under half of the expected
-- not known: no change or no expected change can be computed from laboratory results
-- severity:  practice
-- source:    policy response_from_inr; the published regression (policy expected_inr_slope)
SELECT
    dose_judged.episode_id AS key,
    dose_judged.episode_id,
    CASE
        WHEN dose_judged.inr_before < policy.response_from_inr AND dose_judged.inr_before_bound IS NULL THEN 'clear'
        WHEN coalesce(confounded_responses.confounded, false) THEN 'clear'
        WHEN dose_judged.inr_before_point_of_care OR dose_judged.inr_after_point_of_care THEN 'not_known'
        WHEN dose_judged.change_inr IS NULL OR dose_judged.expected_change_inr IS NULL THEN 'not_known'
        WHEN dose_judged.change_inr > 0.5 * dose_judged.expected_change_inr THEN 'fired'
        ELSE 'clear'
    END AS result,
    dose_judged.inr_before,
    dose_judged.inr_after,
    dose_judged.change_inr,
    dose_judged.expected_change_inr
FROM dose_judged
INNER JOIN episode_times ON episode_times.episode_id = dose_judged.episode_id
INNER JOIN policy ON policy.policy_no = episode_times.policy_no
LEFT JOIN confounded_responses ON confounded_responses.episode_id = dose_judged.episode_id AND confounded_responses.test = 'inr'
WHERE dose_judged.population <> 'newborn' AND NOT starts_with(dose_judged.basis, 'bleeding')
