-- use_by_place: Where does the plasma go?
--
-- reads:     period_bags, policy
-- points:    place: label; Place
--            given: units; Given
--            presumed: units; Presumed given
--            lost: units; Thrown away
--            returned: units; Returned
--            other: units; Transferred or unknown
-- answer:    n: units; Given at the places named
--            of: units; Given
--            not_known: units; Given at a place that is not recorded
--            places: units; Places in all
-- not known: the place is that of the bag's last issue; a bag thawed and lost without an issue has none. Places with fewer than 5 bags, or fewer than the smallest count that is shown (small_count), are pooled, and all but the twelve with the most
WITH

placed AS (
    SELECT
        coalesce(period_bags.location, 'not recorded') AS place,
        period_bags.fate
    FROM period_bags
    WHERE NOT period_bags.frozen_loss
),

ranked AS (
    SELECT
        placed.place,
        count(*) AS bags,
        row_number() OVER (ORDER BY count(*) DESC, placed.place) AS rank
    FROM placed
    GROUP BY placed.place
),

named AS (
    SELECT
        CASE WHEN ranked.rank <= 12 AND ranked.bags >= (SELECT greatest(5, max(policy.small_count)) FROM policy) THEN placed.place ELSE 'other places, pooled' END AS place,
        placed.fate
    FROM placed
    INNER JOIN ranked ON ranked.place = placed.place
)

-- By name: use follows the patients, and a list by use would read as blame.
SELECT
    named.place AS place,
    count(*) FILTER (named.fate = 'transfused') AS given,
    count(*) FILTER (named.fate = 'presumed') AS presumed,
    count(*) FILTER (named.fate = 'discarded') AS lost,
    count(*) FILTER (named.fate = 'returned') AS returned,
    count(*) FILTER (named.fate IN ('transferred', 'unknown')) AS other
FROM named
GROUP BY named.place
ORDER BY named.place = 'other places, pooled', named.place
-- answer
SELECT
    coalesce(sum(points.given + points.presumed) FILTER (points.place NOT IN ('not recorded', 'other places, pooled')), 0)::BIGINT AS n,
    coalesce(sum(points.given + points.presumed), 0)::BIGINT AS of,
    -- Counted over the bags: too few without a place to stand by themselves are pooled.
    (SELECT count(*) FROM period_bags WHERE period_bags.location IS NULL AND period_bags.fate IN ('transfused', 'presumed')) AS not_known,
    (SELECT count(DISTINCT period_bags.location) FROM period_bags WHERE NOT period_bags.frozen_loss) AS places
FROM points
