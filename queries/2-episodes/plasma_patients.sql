-- plasma_patients: patients for whom plasma was issued.
--
-- reads:     issues
SELECT DISTINCT issues.patient_id
FROM issues
WHERE issues.component = 'plasma' AND issues.patient_id IS NOT NULL
