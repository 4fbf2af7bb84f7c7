-- year_episodes: the episodes of the twelve months to the period's end, or of the period where that is longer.
--
-- reads:     episodes, period
SELECT episodes.*
FROM episodes
CROSS JOIN period
WHERE episodes.month BETWEEN period.year_from_month AND period.to_month
ORDER BY episodes.episode_id
