-- weight_missing: no usable weight, and none older.
--
-- of:        episode
-- needs:     measures
-- reads:     judged_episodes
-- fires:     no weight in the window and none before it
-- not known: never
-- severity:  data
-- source:    policy weight_before_d, weight_after_d
SELECT
    judged_episodes.episode_id AS key,
    judged_episodes.episode_id,
    CASE
        WHEN judged_episodes.actual_kg IS NULL AND NOT coalesce(judged_episodes.only_older, false) THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_episodes.weight_at
FROM judged_episodes
