-- reviews: How often did reviewers who read a case agree with its mark?
--
-- reads:     reviewed, episodes, period
-- points:    mark: label; Mark
--            read: count; Read by a reviewer
--            agreed: count; Reviewer said the same
--            share: share of agreed, read; Share
-- answer:    n: count; Reviewer said the same
--            of: count; Read by a reviewer
--            kappa: number of n, of; Cohen's kappa
-- means:     read: alone, no other figure counts what reviewers have read
--            agreed: alone, no other figure counts what reviewers have read
--            answer n: sum of agreed
--            answer of: sum of read
-- not known: cases that nobody has read; a case read twice counts with the latest word
WITH

pairs AS (
    SELECT episodes.mark AS mark, reviewed.word AS word
    FROM reviewed
    INNER JOIN episodes ON episodes.episode_id = reviewed.episode_id
    INNER JOIN period ON episodes.month <= period.to_month
)

SELECT
    pairs.mark AS mark,
    count(*) AS read,
    count(*) FILTER (pairs.word = pairs.mark) AS agreed,
    count(*) FILTER (pairs.word = pairs.mark) / count(*) AS share
FROM pairs
GROUP BY pairs.mark
ORDER BY pairs.mark
-- answer
WITH

pairs AS (
    SELECT episodes.mark AS mark, reviewed.word AS word
    FROM reviewed
    INNER JOIN episodes ON episodes.episode_id = reviewed.episode_id
    INNER JOIN period ON episodes.month <= period.to_month
),

marks AS (SELECT pairs.mark AS word, count(*) AS n FROM pairs GROUP BY pairs.mark),

words AS (SELECT pairs.word AS word, count(*) AS n FROM pairs GROUP BY pairs.word),

-- Agreement that chance alone would give, from both margins (Cohen 1960).
chance AS (
    SELECT sum(marks.n * words.n) AS products
    FROM marks
    INNER JOIN words ON words.word = marks.word
)

SELECT
    count(*) FILTER (pairs.word = pairs.mark) AS n,
    count(*) AS of,
    CASE WHEN count(*) * count(*) > coalesce(max(chance.products), 0)
        THEN round((count(*) FILTER (pairs.word = pairs.mark) / count(*) - coalesce(max(chance.products), 0) / (count(*) * count(*)))
            / (1 - coalesce(max(chance.products), 0) / (count(*) * count(*))), 4)::DOUBLE END AS kappa
FROM pairs
CROSS JOIN chance
