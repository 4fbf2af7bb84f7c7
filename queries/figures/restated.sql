-- restated: Which marks changed since the last pack?
--
-- reads:     last_pack, last_marks, episodes
-- points:    was: label; The last pack said
--            now: label; It is now
--            why: label; Why
--            episodes: count; Episodes
-- answer:    n: count; Episodes whose mark changed
--            of: count; Episodes that the last pack spoke of
--            fresh: count; Episodes of those months that the last pack did not know
--            gone: count; Episodes of the last pack that are none of their own any more
--            last: label; The last pack
-- means:     episodes: alone, no other figure compares with the last pack
--            answer of: alone, no other figure counts what the last pack spoke of
--            answer n: sum of episodes where was none of not known then where now none of no episode of its own now
--            answer fresh: sum of episodes where was not known then
--            answer gone: sum of episodes where now no episode of its own now
-- order:     episodes
-- not known: months that the last pack did not show are not compared
WITH

compared AS (
    SELECT
        coalesce(last_marks.mark, 'not known then') AS was,
        coalesce(episodes.mark, 'no episode of its own now') AS now,
        CASE
            WHEN NOT last_pack.same_program THEN 'another version of the program or decision table, or records that came since'
            WHEN last_marks.policy_hash <> episodes.policy_hash THEN 'other policy values, or records that came since'
            ELSE 'records that came since'
        END AS why
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
)

SELECT
    compared.was AS was,
    compared.now AS now,
    compared.why AS why,
    count(*) AS episodes
FROM compared
WHERE compared.was <> compared.now
GROUP BY compared.was, compared.now, compared.why
ORDER BY count(*) DESC, compared.was, compared.now, compared.why
-- answer
SELECT
    coalesce(sum(points.episodes) FILTER (points.was <> 'not known then' AND points.now <> 'no episode of its own now'), 0)::BIGINT AS n,
    (SELECT count(*) FROM last_marks) AS of,
    coalesce(sum(points.episodes) FILTER (points.was = 'not known then'), 0)::BIGINT AS fresh,
    coalesce(sum(points.episodes) FILTER (points.now = 'no episode of its own now'), 0)::BIGINT AS gone,
    (SELECT max(last_pack.name) FROM last_pack) AS last
FROM points
