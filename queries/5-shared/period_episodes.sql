-- period_episodes: the episodes of the pack's period.
--
-- reads:     episodes, period
SELECT episodes.*
FROM episodes
CROSS JOIN period
WHERE episodes.month BETWEEN period.from_month AND period.to_month
ORDER BY episodes.episode_id
