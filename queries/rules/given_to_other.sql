-- given_to_other: one bag is recorded as transfused to two patients: check division and batch number first.
--
-- of:        unit
-- reads:     judged_units
-- fires:     the same bag recorded transfused to two patients
-- not known: transfused without a patient
-- severity:  safety
-- source:    common practice
WITH patients_of_bag AS (
    SELECT
        judged_units.bag,
        count(DISTINCT judged_units.patient_id) AS patients
    FROM judged_units
    WHERE judged_units.fate = 'transfused'
    GROUP BY judged_units.bag
)

SELECT
    judged_units.key,
    judged_units.episode_id,
    CASE
        WHEN patients_of_bag.patients > 1 AND judged_units.patient_id IS NOT NULL THEN 'fired'
        WHEN judged_units.patient_id IS NULL THEN 'not_known'
        ELSE 'clear'
    END AS result,
    patients_of_bag.patients
FROM judged_units
INNER JOIN patients_of_bag ON patients_of_bag.bag = judged_units.bag
WHERE judged_units.fate = 'transfused'
