-- issues: the issues that are true now, one a bag and issue, with what the bedside tells of them.
--
-- reads:     resolved_issues, bedside_joined
WITH joined AS (
    SELECT
        resolved_issues.* REPLACE (
            CASE WHEN bedside_joined.bag IS NULL THEN resolved_issues.started_at ELSE bedside_joined.started_at END AS started_at,
            CASE WHEN bedside_joined.bag IS NULL THEN resolved_issues.ended_at ELSE bedside_joined.ended_at END AS ended_at,
            CASE WHEN bedside_joined.bag IS NULL THEN resolved_issues.transfused_ml ELSE bedside_joined.transfused_ml END AS transfused_ml,
            CASE WHEN bedside_joined.bag IS NULL THEN resolved_issues.fate ELSE 'transfused' END AS fate),
        bedside_joined.bedside_file,
        bedside_joined.bedside_row
    FROM resolved_issues
    LEFT JOIN bedside_joined ON bedside_joined.bag = resolved_issues.bag AND bedside_joined.issued_at = resolved_issues.issued_at
),
-- A bag that nobody recorded, and that was issued again later, had come back.
last_issues AS (
    SELECT resolved_issues.bag, max(resolved_issues.issued_at) AS issued_at
    FROM resolved_issues
    GROUP BY resolved_issues.bag
    HAVING count(resolved_issues.issued_at) > 1
)
SELECT
    joined.* REPLACE (CASE WHEN joined.fate = 'presumed' AND joined.issued_at < last_issues.issued_at THEN 'returned' ELSE joined.fate END AS fate)
FROM joined
LEFT JOIN last_issues ON last_issues.bag = joined.bag
ORDER BY joined.unit_no, joined.bag, joined.issued_at NULLS FIRST
