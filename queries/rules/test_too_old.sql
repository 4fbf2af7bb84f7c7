-- test_too_old: the tests within limits were taken before the bleeding or procedure, or too long before the plasma, to decide.
--
-- of:        episode
-- reads:     judged_episodes
-- fires:     every deciding sample before the first event or activation, before a procedure begun before t0, or over decides_h before t0
-- not known: never
-- severity:  practice
-- source:    policy decides_h
SELECT
    judged_episodes.episode_id AS key,
    judged_episodes.episode_id,
    CASE
        WHEN judged_episodes.test_too_old THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_episodes.inr_before,
    judged_episodes.inr_before_hours,
    judged_episodes.pt_ratio_before,
    judged_episodes.pt_ratio_before_hours
FROM judged_episodes
WHERE judged_episodes.population <> 'newborn'
