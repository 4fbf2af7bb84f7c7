-- year_episodes: the episodes of the twelve months to the period's end, or of the period where that is longer.
--
-- reads:     episodes, period, policy
SELECT
    episodes.*,
    -- Presumed units count as given where the policy says so.
    episodes.units_transfused + CASE WHEN counted.presumed THEN episodes.units_presumed ELSE 0 END AS units_given
FROM episodes
CROSS JOIN (SELECT bool_and(policy.presumed_is_transfused) AS presumed FROM policy) AS counted
CROSS JOIN period
WHERE episodes.month BETWEEN period.year_from_month AND period.to_month
