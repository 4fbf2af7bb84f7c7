-- repeated_labs: samples of which the test was told more than once, or cancelled; every other result stands as it is.
--
-- reads:     told_labs
SELECT
    told_labs.patient_id,
    told_labs.test,
    told_labs.collected_at,
    told_labs.point_of_care
FROM told_labs
GROUP BY told_labs.patient_id, told_labs.test, told_labs.collected_at, told_labs.point_of_care
HAVING count(*) > 1 OR bool_or(told_labs.status = 'cancelled')
