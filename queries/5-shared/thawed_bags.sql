-- thawed_bags: the plasma bags of the year that were given or thrown away after a thaw or without one told, with the day and the hour of the thaw on the hospital's clock.
--
-- reads:     bags, period
SELECT
    isodow(bags.thawed_local) AS weekday,
    -- Midnight sharp is taken for a date told alone.
    CASE WHEN CAST(bags.thawed_local AS TIME) <> TIME '00:00:00' THEN extract('hour' FROM bags.thawed_local) END AS hour,
    bags.fate = 'discarded' AS lost
FROM bags
CROSS JOIN period
WHERE bags.month BETWEEN period.year_from_month AND period.to_month
    AND bags.fate IN ('transfused', 'presumed', 'discarded')
    AND NOT bags.frozen_loss
