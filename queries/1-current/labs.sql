-- labs: the results of one test that are true now, one a sample and place of measurement.
--
-- reads:     told_labs, repeated_labs, standing_labs
SELECT told_labs.* EXCLUDE (reading_file, reading_order)
FROM told_labs
ANTI JOIN repeated_labs
    ON repeated_labs.patient_id = told_labs.patient_id
    AND repeated_labs.test = told_labs.test
    AND repeated_labs.collected_at = told_labs.collected_at
    AND repeated_labs.point_of_care = told_labs.point_of_care
UNION ALL
SELECT standing_labs.* EXCLUDE (reading_file, reading_order, standing)
FROM standing_labs
WHERE standing_labs.standing = 'current'
