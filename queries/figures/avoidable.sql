-- avoidable: How much was thrown away, or given in episodes marked non-bleeding or unsupported?
--
-- reads:     period_bags, period_episodes, local_days, units, policy
-- points:    what: label; What
--            units: units; Units
-- answer:    n: units; Thrown away, or given in episodes so marked
--            of: units; Given or thrown away
--            discarded: units; Thrown away
--            given: units; Given in episodes marked non-bleeding or unsupported
--            cost: number; Cost in the site's money
-- needs:     units where what given, marked non-bleeding: bleeding
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
WITH

-- The price of the day: of the first issue of what was given; of the thaw of what
-- was thrown away, else of the first of its month.
days AS (
    SELECT CAST(coalesce(period_bags.thawed_local, strptime(period_bags.month, '%Y-%m')) AS DATE) AS day
    FROM period_bags
    WHERE period_bags.fate = 'discarded' AND NOT period_bags.frozen_loss
    UNION ALL
    SELECT local_days.day
    FROM period_episodes
    INNER JOIN units ON units.episode_id = period_episodes.episode_id AND units.given
    ASOF INNER JOIN local_days ON period_episodes.first_issued_at >= local_days.starts_at
    WHERE period_episodes.mark IN ('non-bleeding', 'unsupported')
),

prices AS (
    SELECT policy.unit_cost AS price
    FROM days
    INNER JOIN policy
        ON days.day >= coalesce(policy.from_date, DATE '0001-01-01')
        AND days.day < coalesce(policy.until_date, DATE '9999-12-31')
)

SELECT
    sum(points.units)::BIGINT AS n,
    (SELECT count(*) FROM period_bags WHERE period_bags.fate IN ('transfused', 'presumed', 'discarded') AND NOT period_bags.frozen_loss) AS of,
    coalesce(sum(points.units) FILTER (points.what = 'thrown away'), 0)::BIGINT AS discarded,
    coalesce(sum(points.units) FILTER (points.what <> 'thrown away'), 0)::BIGINT AS given,
    -- A sum without some of the prices would look like the whole.
    (SELECT CASE WHEN count(prices.price) = count(*) THEN CAST(round(sum(prices.price)) AS BIGINT) END FROM prices) AS cost
FROM points
