-- resolved_issues: the issues that are true now, before the bedside's record is joined.
--
-- reads:     told_issues, repeated_bags, standing_issues
SELECT told_issues.* EXCLUDE (reading_file, reading_order)
FROM told_issues
ANTI JOIN repeated_bags ON repeated_bags.bag = told_issues.bag
UNION ALL
SELECT standing_issues.* EXCLUDE (reading_file, reading_order, earliest_at, standing)
FROM standing_issues
WHERE standing_issues.standing = 'current'
