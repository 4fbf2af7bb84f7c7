-- component_months: units issued in the months of the store up to the period's end, by component and product, and what became of them.
--
-- reads:     issues, all_months, policy
WITH grouped AS (
    SELECT
        date_trunc('month', issues.issued_local) AS month,
        issues.component,
        count(*) AS issued,
        count(*) FILTER (issues.fate = 'transfused' OR (issues.fate = 'presumed' AND building.presumed_is_transfused)) AS given,
        count(*) FILTER (issues.fate = 'discarded') AS lost
    FROM issues
    CROSS JOIN (SELECT policy.presumed_is_transfused FROM policy WHERE policy.from_date IS NULL) AS building
    GROUP BY date_trunc('month', issues.issued_local), issues.component
)

SELECT
    all_months.month,
    grouped.component,
    grouped.issued,
    grouped.given,
    grouped.lost
FROM grouped
INNER JOIN all_months ON all_months.month = strftime(grouped.month, '%Y-%m')
