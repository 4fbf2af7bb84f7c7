-- told_labs: every result told of one test, its patient's number followed to the end.
--
-- reads:     source_labs, readings, alias_ends
SELECT
    source_labs.* REPLACE (coalesce(alias_ends.patient_id, source_labs.patient_id) AS patient_id),
    readings.reading_order
FROM source_labs
JOIN readings ON readings.reading_file = source_labs.reading_file
LEFT JOIN alias_ends ON alias_ends.alias = source_labs.patient_id
