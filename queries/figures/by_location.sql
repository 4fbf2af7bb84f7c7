-- by_location: Does any place differ from the rest of the hospital?
--
-- reads:     year_episodes, policy
-- points:    place: label; Place
--            appropriate: count; Appropriate
--            judged: count; Judged
--            share: share of appropriate, judged; Share
-- answer:    n: count; Appropriate
--            of: count; Judged
--            places: units; Places shown by name
-- means:     appropriate: year, mark appropriate, in rows
--            judged: year, mark appropriate|under-dosed|non-bleeding|unsupported, in rows
--            answer n: sum of appropriate
--            answer of: sum of judged
-- needs:     appropriate + share: dose band
--            answer n: dose band
-- not known: undetermined episodes are left out; places with fewer than 5 judged episodes, or fewer than the smallest count that is shown (small_count), are pooled as other
WITH

judged AS (
    SELECT
        coalesce(year_episodes.location, 'not recorded') AS place,
        year_episodes.mark
    FROM year_episodes
    WHERE year_episodes.mark IN ('appropriate', 'under-dosed', 'non-bleeding', 'unsupported')
),

sizes AS (
    SELECT judged.place, count(*) AS judged
    FROM judged
    GROUP BY judged.place
),

named AS (
    SELECT
        CASE WHEN sizes.judged < (SELECT greatest(5, max(policy.small_count)) FROM policy) THEN 'other places, pooled' ELSE judged.place END AS place,
        judged.mark
    FROM judged
    INNER JOIN sizes ON sizes.place = judged.place
)

-- By name: a list by share would be a league table.
SELECT
    named.place AS place,
    count(*) FILTER (named.mark = 'appropriate') AS appropriate,
    count(*) AS judged,
    count(*) FILTER (named.mark = 'appropriate') / count(*) AS share
FROM named
GROUP BY named.place
ORDER BY named.place = 'other places, pooled', named.place
-- answer
SELECT
    coalesce(sum(points.appropriate), 0)::BIGINT AS n,
    coalesce(sum(points.judged), 0)::BIGINT AS of,
    count(*) FILTER (points.place <> 'other places, pooled') AS places
FROM points
