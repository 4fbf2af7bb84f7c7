-- birth_date_missing: no birth date, or one after the plasma: judged as an adult.
--
-- of:        episode
-- needs:     patients
-- reads:     judged_episodes
-- fires:     no usable birth date
-- not known: never
-- severity:  data
-- source:    common practice
SELECT
    judged_episodes.episode_id AS key,
    judged_episodes.episode_id,
    CASE
        WHEN judged_episodes.birth_date_missing THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_episodes.population
FROM judged_episodes
