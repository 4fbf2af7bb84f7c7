-- avoidable: How much was thrown away, or given without a recorded indication?
--
-- reads:     period_bags, period_episodes, units, policy
-- points:    what: label; What
--            units: units; Units
-- answer:    n: units; Thrown away or given without a recorded indication
--            of: units; Given or thrown away
--            discarded: units; Thrown away
--            given: units; Given without a recorded indication
--            cost: number; Cost in the site's money
-- not known: units of unknown fate, and units given in undetermined episodes
SELECT
    'thrown away' AS what,
    count(*) AS units
FROM period_bags
WHERE period_bags.fate = 'discarded' AND NOT period_bags.frozen_loss
UNION ALL
SELECT
    'given, marked ' || marks.mark AS what,
    count(units.bag) AS units
FROM (VALUES ('non-bleeding'), ('unsupported')) AS marks(mark)
LEFT JOIN period_episodes ON period_episodes.mark = marks.mark
LEFT JOIN units ON units.episode_id = period_episodes.episode_id AND units.given
GROUP BY marks.mark
ORDER BY what DESC
-- answer
SELECT
    sum(points.units)::BIGINT AS n,
    (SELECT count(*) FROM period_bags WHERE period_bags.fate IN ('transfused', 'presumed', 'discarded') AND NOT period_bags.frozen_loss) AS of,
    coalesce(sum(points.units) FILTER (points.what = 'thrown away'), 0)::BIGINT AS discarded,
    coalesce(sum(points.units) FILTER (points.what <> 'thrown away'), 0)::BIGINT AS given,
    CAST(round((SELECT any_value(policy.unit_cost) FROM policy WHERE policy.until_date IS NULL) * sum(points.units)) AS BIGINT) AS cost
FROM points
