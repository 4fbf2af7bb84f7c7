-- repeated_bags: bags told more than once, or cancelled; every other bag's row stands as it is.
--
-- reads:     told_issues
SELECT told_issues.bag
FROM told_issues
GROUP BY told_issues.bag
HAVING count(*) > 1 OR bool_or(told_issues.status = 'cancelled')
