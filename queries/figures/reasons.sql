-- reasons: Why did the episodes get their marks?
--
-- reads:     period_episodes
-- points:    mark: label; Mark
--            because: label; Because
--            episodes: count; Episodes
-- answer:    of: count; Episodes
-- means:     episodes: period, by mark, by because
--            answer of: period
-- order:     episodes
SELECT
    period_episodes.mark AS mark,
    period_episodes.because AS because,
    count(*) AS episodes
FROM period_episodes
GROUP BY period_episodes.mark, period_episodes.because
ORDER BY count(*) DESC, period_episodes.mark, period_episodes.because
-- answer
SELECT
    count(*) AS of
FROM period_episodes
