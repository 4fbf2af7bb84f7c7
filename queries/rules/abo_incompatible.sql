-- abo_incompatible: plasma was given whose antibodies act on the red cells of the recipient.
--
-- of:        unit
-- needs:     patients
-- reads:     judged_units
-- fires:     recipient O takes any group; A takes A and AB; B takes B and AB; AB or unknown takes AB; group A plasma in major haemorrhage is abo_emergency_a
-- not known: given without a patient
-- severity:  safety
-- source:    common practice: the reverse of the red-cell rule
SELECT
    judged_units.key,
    judged_units.episode_id,
    CASE
        WHEN judged_units.patient_id IS NULL THEN 'not_known'
        WHEN NOT judged_units.compatible AND NOT (judged_units.unit_abo = 'A' AND coalesce(judged_units.basis = 'major_haemorrhage', false)) THEN 'fired'
        ELSE 'clear'
    END AS result,
    CASE WHEN judged_units.fate = 'presumed' THEN 'practice' ELSE 'safety' END AS severity,
    judged_units.unit_abo,
    judged_units.patient_abo,
    judged_units.fate
FROM judged_units
WHERE judged_units.given AND judged_units.unit_abo IS NOT NULL AND NOT judged_units.transplanted
