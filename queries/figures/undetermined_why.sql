-- undetermined_why: Why could episodes not be marked?
--
-- reads:     year_episodes
-- points:    because: label; Because
--            episodes: count; Episodes
-- answer:    n: count; Undetermined
--            of: count; Episodes
-- means:     episodes: year, mark undetermined, by because
--            answer n: year, mark undetermined
--            answer of: year
-- order:     episodes
SELECT
    year_episodes.because AS because,
    count(*) AS episodes
FROM year_episodes
WHERE year_episodes.mark = 'undetermined'
GROUP BY year_episodes.because
ORDER BY count(*) DESC, year_episodes.because
-- answer
SELECT
    count(*) FILTER (year_episodes.mark = 'undetermined') AS n,
    count(*) AS of
FROM year_episodes
