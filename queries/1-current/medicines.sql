-- medicines: the doses of medicines that are true now, one a key.
--
-- reads:     standing_medicines
SELECT standing_medicines.* EXCLUDE (reading_file, reading_order, standing)
FROM standing_medicines
WHERE standing_medicines.standing = 'current'
ORDER BY standing_medicines.patient_id, standing_medicines.medicine, standing_medicines.given_at
