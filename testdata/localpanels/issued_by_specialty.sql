-- issued_by_specialty: Which specialties is plasma issued to?
--
-- reads:     issues, period
-- points:    specialty: label; Specialty
--            bags: units; Bags issued
-- answer:    n: units; Bags issued to the specialty with most
--            of: units; Bags issued
SELECT
    coalesce(issues.specialty, 'not recorded') AS specialty,
    count(*) AS bags
FROM issues
CROSS JOIN period
WHERE issues.component = 'plasma'
    AND strftime(issues.issued_local, '%Y-%m') BETWEEN period.from_month AND period.to_month
GROUP BY coalesce(issues.specialty, 'not recorded')
ORDER BY count(*) DESC, specialty
-- answer
SELECT
    coalesce(max(points.bags), 0)::BIGINT AS n,
    coalesce(sum(points.bags), 0)::BIGINT AS of
FROM points
