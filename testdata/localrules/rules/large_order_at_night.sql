-- large_order_at_night: four or more units were issued, the first of them at night.
--
-- of:        episode
-- reads:     episodes, judged_episodes
-- fires:     4 or more units issued, the first from 22:00 to before 06:00 on the hospital's clock
-- not known: never
-- severity:  practice
-- source:    transfusion policy of the invented hospital, section 3: at night four units or more are agreed with the duty haematologist
SELECT
    judged_episodes.episode_id AS key,
    judged_episodes.episode_id,
    CASE WHEN episodes.units_issued >= 4 AND (episodes.hour >= 22 OR episodes.hour < 6) THEN 'fired' ELSE 'clear' END AS result,
    episodes.units_issued,
    episodes.hour
FROM judged_episodes
INNER JOIN episodes ON episodes.episode_id = judged_episodes.episode_id
