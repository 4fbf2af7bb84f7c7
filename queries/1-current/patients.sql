-- patients: what is constant of each patient, one row a patient.
--
-- reads:     standing_patients
SELECT standing_patients.* EXCLUDE (reading_file, reading_order, standing)
FROM standing_patients
WHERE standing_patients.standing = 'current'
ORDER BY standing_patients.patient_id
