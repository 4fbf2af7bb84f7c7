-- measures: the measures that are true now, one a key.
--
-- reads:     standing_measures
SELECT standing_measures.* EXCLUDE (reading_file, reading_order, standing)
FROM standing_measures
WHERE standing_measures.standing = 'current'
ORDER BY standing_measures.patient_id, standing_measures.kind, standing_measures.measured_at, standing_measures.method NULLS FIRST
