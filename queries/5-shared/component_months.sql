-- component_months: units issued in the months of the charts, by component and product, and what became of them.
--
-- reads:     issues, months, period, policy
WITH grouped AS (
    SELECT
        date_trunc('month', issues.issued_local) AS month,
        issues.component,
        count(*) AS issued,
        count(*) FILTER (issues.fate = 'transfused' OR (issues.fate = 'presumed' AND building.presumed_is_transfused)) AS given,
        count(*) FILTER (issues.fate = 'discarded') AS lost
    FROM issues
    CROSS JOIN (SELECT policy.presumed_is_transfused FROM policy WHERE policy.from_date IS NULL) AS building
    WHERE issues.issued_local >= (SELECT strptime(min(period.history_from_month), '%Y-%m') FROM period)
    GROUP BY date_trunc('month', issues.issued_local), issues.component
)

SELECT
    months.month,
    grouped.component,
    grouped.issued,
    grouped.given,
    grouped.lost
FROM grouped
INNER JOIN months ON months.month = strftime(grouped.month, '%Y-%m')
