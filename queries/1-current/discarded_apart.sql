-- discarded_apart: issues that stand as presumed, though a row that names no issue tells that their bag was discarded within 7 days after.
--
-- reads:     resolved_issues, bedside_joined
WITH discards AS (
    SELECT resolved_issues.bag, resolved_issues.discarded_at
    FROM resolved_issues
    WHERE resolved_issues.issued_at IS NULL AND resolved_issues.discarded_at IS NOT NULL
),
-- A bag that was issued again later had come back: only the last issue is presumed.
last_issues AS (
    SELECT
        resolved_issues.bag,
        max(resolved_issues.issued_at) AS issued_at,
        arg_max(resolved_issues.fate, resolved_issues.issued_at) AS fate
    FROM resolved_issues
    SEMI JOIN discards ON discards.bag = resolved_issues.bag
    WHERE resolved_issues.issued_at IS NOT NULL
    GROUP BY resolved_issues.bag
)
SELECT
    last_issues.bag,
    last_issues.issued_at,
    min(discards.discarded_at) AS discarded_at
FROM last_issues
JOIN discards
    ON discards.bag = last_issues.bag
    -- Ten minutes are two clocks.
    AND discards.discarded_at >= last_issues.issued_at - minutes(10)
    AND discards.discarded_at <= last_issues.issued_at + days(7)
ANTI JOIN bedside_joined ON bedside_joined.bag = last_issues.bag AND bedside_joined.issued_at = last_issues.issued_at
WHERE last_issues.fate = 'presumed'
GROUP BY last_issues.bag, last_issues.issued_at
