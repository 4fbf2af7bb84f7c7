-- period_episodes: the episodes of the pack's period.
--
-- reads:     year_episodes, period
SELECT year_episodes.*
FROM year_episodes
CROSS JOIN period
WHERE year_episodes.month BETWEEN period.from_month AND period.to_month
