-- patient_changes: issues that were told of more than one patient; the last word holds.
--
-- reads:     standing_issues
SELECT
    standing_issues.bag,
    standing_issues.earliest_at,
    count(DISTINCT standing_issues.patient_id) AS patients
FROM standing_issues
WHERE standing_issues.standing <> 'cancelled' AND standing_issues.earliest_at IS NOT NULL
GROUP BY standing_issues.bag, standing_issues.earliest_at
HAVING count(DISTINCT standing_issues.patient_id) > 1
