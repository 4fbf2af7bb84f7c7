-- slow_start: the first plasma was started late after it was issued.
--
-- of:        episode
-- needs:     policy issue_to_start_min
-- reads:     judged_episodes, judged_units, episode_times, policy
-- fires:     earliest start of the units issued within 15 min of the first − first issue over issue_to_start_min
-- not known: none of those units has a recorded start
-- severity:  practice
-- source:    policy issue_to_start_min
WITH starts AS (
    SELECT
        judged_episodes.episode_id,
        min(judged_units.started_at) AS started_at
    FROM judged_episodes
    INNER JOIN judged_units
        ON judged_units.episode_id = judged_episodes.episode_id
        AND judged_units.issued_at <= judged_episodes.first_issued_at + minutes(15)
    GROUP BY judged_episodes.episode_id
)

SELECT
    judged_episodes.episode_id AS key,
    judged_episodes.episode_id,
    CASE
        WHEN starts.started_at IS NULL THEN 'not_known'
        WHEN starts.started_at > judged_episodes.first_issued_at + minutes(policy.issue_to_start_min) THEN 'fired'
        ELSE 'clear'
    END AS result,
    round(60 * hours_between(judged_episodes.first_issued_at, starts.started_at), 3) AS minutes_to_start,
    policy.issue_to_start_min
FROM judged_episodes
INNER JOIN episode_times ON episode_times.episode_id = judged_episodes.episode_id
INNER JOIN policy ON policy.policy_no = episode_times.policy_no
LEFT JOIN starts ON starts.episode_id = judged_episodes.episode_id
WHERE policy.issue_to_start_min IS NOT NULL
