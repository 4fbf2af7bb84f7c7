-- weight_stale: the only usable weight is older than the window.
--
-- of:        episode
-- needs:     measures
-- reads:     judged_episodes
-- fires:     no weight in the window, one before it
-- not known: never
-- severity:  data
-- source:    policy weight_before_d
SELECT
    judged_episodes.episode_id AS key,
    judged_episodes.episode_id,
    CASE
        WHEN judged_episodes.actual_kg IS NULL AND coalesce(judged_episodes.only_older, false) THEN 'fired'
        ELSE 'clear'
    END AS result,
    hours_between(judged_episodes.older_at, judged_episodes.t0) AS hours_old
FROM judged_episodes
