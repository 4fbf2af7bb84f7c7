-- patient_missing: a unit was given without a patient.
--
-- of:        unit
-- reads:     judged_units
-- fires:     given, no patient_id
-- not known: never
-- severity:  data
-- source:    common practice
SELECT
    judged_units.key,
    judged_units.episode_id,
    CASE
        WHEN judged_units.patient_id IS NULL THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_units.fate
FROM judged_units
WHERE judged_units.given
