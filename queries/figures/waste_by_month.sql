-- waste_by_month: Is the share thrown away changing?
--
-- reads:     all_months, bags, period_bags
-- points:    month: month; Month
--            discarded: units; Thrown away
--            used: units; Given or thrown away
--            share: share; Share
--            frozen: units; Frozen losses, apart
-- answer:    n: units; Thrown away
--            of: units; Given or thrown away
--            not_known: units; Fate not known
--            frozen: units; Frozen losses
-- not known: bags of unknown fate are in neither number
SELECT
    all_months.month AS month,
    count(*) FILTER (bags.fate = 'discarded' AND NOT bags.frozen_loss) AS discarded,
    count(*) FILTER (bags.fate IN ('transfused', 'presumed', 'discarded') AND NOT bags.frozen_loss) AS used,
    CASE WHEN count(*) FILTER (bags.fate IN ('transfused', 'presumed', 'discarded') AND NOT bags.frozen_loss) > 0
        THEN count(*) FILTER (bags.fate = 'discarded' AND NOT bags.frozen_loss)
            / count(*) FILTER (bags.fate IN ('transfused', 'presumed', 'discarded') AND NOT bags.frozen_loss) END AS share,
    count(*) FILTER (bags.frozen_loss) AS frozen
FROM all_months
LEFT JOIN bags ON bags.month = all_months.month
GROUP BY all_months.month
ORDER BY all_months.month
-- answer
SELECT
    count(*) FILTER (period_bags.fate = 'discarded' AND NOT period_bags.frozen_loss) AS n,
    count(*) FILTER (period_bags.fate IN ('transfused', 'presumed', 'discarded') AND NOT period_bags.frozen_loss) AS of,
    count(*) FILTER (period_bags.fate = 'unknown') AS not_known,
    count(*) FILTER (period_bags.frozen_loss) AS frozen
FROM period_bags
