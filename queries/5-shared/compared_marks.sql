-- compared_marks: the episodes that the last pack spoke of, and those of its months now, with what it said, what is said now, and why that differs.
--
-- reads:     last_pack, last_marks, episodes
SELECT
    either.episode_id,
    coalesce(last_marks.mark, 'not known then') AS was,
    coalesce(episodes.mark, 'no episode of its own now') AS now,
    CASE
        WHEN NOT last_pack.same_program THEN 'another version of the program or decision table, or records that came since'
        WHEN last_marks.policy_hash <> episodes.policy_hash THEN 'other policy values, or records that came since'
        WHEN last_pack.other_maps THEN 'another map in site.yaml, or records that came since'
        ELSE 'records that came since'
    END AS why,
    last_marks.episode_id IS NOT NULL AS said
FROM last_pack
CROSS JOIN (
    SELECT last_marks.episode_id FROM last_marks
    UNION
    SELECT episodes.episode_id
    FROM episodes
    INNER JOIN last_pack ON episodes.month BETWEEN last_pack.from_month AND last_pack.to_month
) AS either
LEFT JOIN last_marks ON last_marks.episode_id = either.episode_id
LEFT JOIN episodes ON episodes.episode_id = either.episode_id
