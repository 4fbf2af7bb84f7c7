-- thaw_to_fate: How long after the thaw was plasma given, returned or thrown away?
--
-- reads:     period_bags, policy
-- points:    hours: label; Hours after the thaw
--            low: place; From
--            given: units; Given, presumed too
--            lost: units; Thrown away
--            returned: units; Returned
-- answer:    n: units; Within 4 hours
--            of: units; Bags with a thaw and a fate
--            not_known: units; Without either time
--            beyond: units; Beyond the thawed life
--            beyond_given: units; Given beyond it
--            life: number; Thawed life, hours
--            life_thawed: number; Thawed life of thawed plasma, hours
-- needs:     given: bedside
-- not known: bags without a time of thaw or of fate: what is presumed given has none, where nobody told its start
SELECT
    bands.hours AS hours,
    greatest(bands.low, 0)::DOUBLE AS low,
    count(*) FILTER (period_bags.fate IN ('transfused', 'presumed')) AS given,
    count(*) FILTER (period_bags.fate = 'discarded') AS lost,
    count(*) FILTER (period_bags.fate = 'returned') AS returned
FROM (VALUES (1, 'to 1', -100000, 1), (2, '1 to 2', 1, 2), (3, '2 to 4', 2, 4), (4, '4 to 8', 4, 8), (5, '8 to 24', 8, 24), (6, '24 to 72', 24, 72), (7, '72 to 120', 72, 120), (8, 'over 120', 120, 1000000)) AS bands(place, hours, low, high)
LEFT JOIN period_bags ON period_bags.hours_thaw_to_fate > bands.low AND period_bags.hours_thaw_to_fate <= bands.high
GROUP BY bands.place, bands.hours, bands.low
ORDER BY bands.place
-- answer
WITH

-- Each bag with the life that held when it was thawed.
lived AS (
    SELECT
        period_bags.hours_thaw_to_fate AS hours,
        period_bags.fate,
        CASE WHEN period_bags.product = 'thawed' THEN policy.thawed_life_h_thawed ELSE policy.thawed_life_h END AS life_h
    FROM period_bags
    LEFT JOIN policy
        ON coalesce(CAST(period_bags.thawed_local AS DATE) >= policy.from_date, policy.from_date IS NULL)
        AND (policy.until_date IS NULL OR coalesce(CAST(period_bags.thawed_local AS DATE) < policy.until_date, policy.from_date IS NULL))
    WHERE NOT period_bags.frozen_loss
)

SELECT
    count(*) FILTER (lived.hours <= 4) AS n,
    count(lived.hours) AS of,
    count(*) FILTER (lived.hours IS NULL) AS not_known,
    count(*) FILTER (lived.hours > lived.life_h) AS beyond,
    count(*) FILTER (lived.hours > lived.life_h AND lived.fate IN ('transfused', 'presumed')) AS beyond_given,
    (SELECT policy.thawed_life_h FROM policy WHERE policy.until_date IS NULL) AS life,
    (SELECT policy.thawed_life_h_thawed FROM policy WHERE policy.until_date IS NULL) AS life_thawed
FROM lived
