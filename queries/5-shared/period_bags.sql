-- period_bags: the plasma bags of the pack's period.
--
-- reads:     bags, period
SELECT bags.*
FROM bags
CROSS JOIN period
WHERE bags.month BETWEEN period.from_month AND period.to_month
