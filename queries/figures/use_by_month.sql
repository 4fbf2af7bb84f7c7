-- use_by_month: Are we using more or less plasma than before?
--
-- reads:     months, bags, period_bags, component_months
-- points:    month: month; Month
--            bags: units; Bags in all
--            given: units; Given
--            presumed: units; Presumed given
--            discarded: units; Thrown away
--            other: units; Returned, transferred or unknown
--            issued: units; Issues
-- answer:    n: units; Bags given
--            of: units; Bags thawed, issued or thrown away
--            not_known: units; Fate not known
--            presumed: units; Presumed given, for nothing else is recorded
-- not known: a bag counts once, in the month of its first thaw, else issue, else discard; bags lost while frozen are left out. Issues are in the months of each: a bag may have several, or none
SELECT
    months.month AS month,
    count(bags.bag) FILTER (NOT bags.frozen_loss) AS bags,
    count(*) FILTER (bags.fate = 'transfused') AS given,
    count(*) FILTER (bags.fate = 'presumed') AS presumed,
    count(*) FILTER (bags.fate = 'discarded' AND NOT bags.frozen_loss) AS discarded,
    count(*) FILTER (bags.fate IN ('returned', 'transferred', 'unknown')) AS other,
    any_value(coalesce(issued.issued, 0)) AS issued
FROM months
LEFT JOIN bags ON bags.month = months.month
LEFT JOIN component_months AS issued ON issued.month = months.month AND issued.component = 'plasma'
GROUP BY months.month
ORDER BY months.month
-- answer
SELECT
    count(*) FILTER (period_bags.fate IN ('transfused', 'presumed')) AS n,
    count(*) FILTER (NOT period_bags.frozen_loss) AS of,
    count(*) FILTER (period_bags.fate = 'unknown') AS not_known,
    count(*) FILTER (period_bags.fate = 'presumed') AS presumed
FROM period_bags
