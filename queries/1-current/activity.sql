-- activity: the counts of activity that are true now, one a key.
--
-- reads:     standing_activity
SELECT standing_activity.* EXCLUDE (reading_file, reading_order, standing)
FROM standing_activity
WHERE standing_activity.standing = 'current'
ORDER BY standing_activity.month, standing_activity.location NULLS FIRST, standing_activity.measure
