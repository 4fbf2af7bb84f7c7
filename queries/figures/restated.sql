-- restated: Which marks changed since the last pack?
--
-- reads:     compared_marks, last_pack, last_marks
-- points:    was: label; The last pack said
--            now: label; It is now
--            why: label; Why
--            episodes: count; Episodes
-- answer:    n: count; Episodes whose mark changed
--            of: count; Episodes that the last pack spoke of
--            fresh: count; Episodes of those months that the last pack did not know
--            gone: count; Episodes of the last pack that are none of their own any more
--            last: label; The last pack
-- means:     episodes: ever, by was, by now, by why
--            answer of: ever, said true
--            answer n: sum of episodes where was none of not known then where now none of no episode of its own now
--            answer fresh: sum of episodes where was not known then
--            answer gone: sum of episodes where now no episode of its own now
-- order:     episodes
-- not known: months that the last pack did not show are not compared
SELECT
    compared_marks.was AS was,
    compared_marks.now AS now,
    compared_marks.why AS why,
    count(*) AS episodes
FROM compared_marks
WHERE compared_marks.was <> compared_marks.now
GROUP BY compared_marks.was, compared_marks.now, compared_marks.why
ORDER BY count(*) DESC, compared_marks.was, compared_marks.now, compared_marks.why
-- answer
SELECT
    coalesce(sum(points.episodes) FILTER (points.was <> 'not known then' AND points.now <> 'no episode of its own now'), 0)::BIGINT AS n,
    (SELECT count(*) FROM last_marks) AS of,
    coalesce(sum(points.episodes) FILTER (points.was = 'not known then'), 0)::BIGINT AS fresh,
    coalesce(sum(points.episodes) FILTER (points.now = 'no episode of its own now'), 0)::BIGINT AS gone,
    (SELECT max(last_pack.name) FROM last_pack) AS last
FROM points
