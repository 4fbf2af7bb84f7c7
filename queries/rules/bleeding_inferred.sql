-- bleeding_inferred: bleeding is inferred from red cells or a fall of haemoglobin alone.
--
-- of:        episode
-- reads:     judged_episodes
-- fires:     basis bleeding on inferred evidence alone, minor events aside
-- not known: never
-- severity:  data
-- source:    common practice
SELECT
    judged_episodes.episode_id AS key,
    judged_episodes.episode_id,
    CASE
        WHEN judged_episodes.basis = 'bleeding' AND NOT judged_episodes.recorded_bleeding THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_episodes.mark_recorded
FROM judged_episodes
