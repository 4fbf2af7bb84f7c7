-- thaw_to_fate: How long after the thaw was plasma given, returned or thrown away?
--
-- reads:     period_bags
-- points:    hours: label; Hours after the thaw
--            given: units; Given, presumed too
--            lost: units; Thrown away
--            returned: units; Returned
-- answer:    n: units; Within 4 hours
--            of: units; Bags with a thaw and a fate
--            not_known: units; Without either time
-- needs:     given: bedside
-- not known: bags without a time of thaw or of fate: what is presumed given has none, where nobody told its start
SELECT
    bands.hours AS hours,
    count(*) FILTER (period_bags.fate IN ('transfused', 'presumed')) AS given,
    count(*) FILTER (period_bags.fate = 'discarded') AS lost,
    count(*) FILTER (period_bags.fate = 'returned') AS returned
FROM (VALUES (1, 'to 1', -100000, 1), (2, '1 to 2', 1, 2), (3, '2 to 4', 2, 4), (4, '4 to 8', 4, 8), (5, '8 to 24', 8, 24), (6, '24 to 72', 24, 72), (7, '72 to 120', 72, 120), (8, 'over 120', 120, 1000000)) AS bands(place, hours, low, high)
LEFT JOIN period_bags ON period_bags.hours_thaw_to_fate > bands.low AND period_bags.hours_thaw_to_fate <= bands.high
GROUP BY bands.place, bands.hours
ORDER BY bands.place
-- answer
SELECT
    count(*) FILTER (period_bags.hours_thaw_to_fate <= 4) AS n,
    count(period_bags.hours_thaw_to_fate) AS of,
    count(*) FILTER (period_bags.hours_thaw_to_fate IS NULL) AS not_known
FROM period_bags
WHERE NOT period_bags.frozen_loss
