-- use_by_product: Which kinds of plasma do we use?
--
-- reads:     period_bags
-- points:    product: label; Kind of plasma
--            given: units; Given
--            presumed: units; Presumed given
--            lost: units; Thrown away
--            returned: units; Returned
--            other: units; Transferred or unknown
-- answer:    n: units; Of the kind used most
--            of: units; Given
--            not_known: units; Of a kind that the product map does not state
--            most: label; The kind used most
-- not known: the kind is that of the product map, on the bag's last record
SELECT
    coalesce(replace(period_bags.product, '_', ' '), 'not stated') AS product,
    count(*) FILTER (period_bags.fate = 'transfused') AS given,
    count(*) FILTER (period_bags.fate = 'presumed') AS presumed,
    count(*) FILTER (period_bags.fate = 'discarded') AS lost,
    count(*) FILTER (period_bags.fate = 'returned') AS returned,
    count(*) FILTER (period_bags.fate IN ('transferred', 'unknown')) AS other
FROM period_bags
WHERE NOT period_bags.frozen_loss
GROUP BY period_bags.product
ORDER BY period_bags.product NULLS LAST
-- answer
SELECT
    coalesce(max(points.given + points.presumed), 0) AS n,
    coalesce(sum(points.given + points.presumed), 0)::BIGINT AS of,
    coalesce(sum(points.given + points.presumed) FILTER (points.product = 'not stated'), 0)::BIGINT AS not_known,
    max_by(points.product, (points.given + points.presumed, points.product)) AS most
FROM points
