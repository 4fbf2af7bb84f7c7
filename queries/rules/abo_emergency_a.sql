-- abo_emergency_a: group A plasma was given in major haemorrhage to a recipient whom it does not match.
--
-- of:        unit
-- needs:     patients
-- reads:     judged_units
-- fires:     as abo_incompatible, but group A plasma in an episode whose basis is major_haemorrhage
-- not known: given without a patient
-- severity:  practice
-- source:    common practice: group A plasma serves in an emergency where AB is scarce
SELECT
    judged_units.key,
    judged_units.episode_id,
    CASE
        WHEN judged_units.patient_id IS NULL THEN 'not_known'
        WHEN NOT judged_units.compatible AND judged_units.unit_abo = 'A' AND judged_units.basis = 'major_haemorrhage' THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_units.unit_abo,
    judged_units.patient_abo
FROM judged_units
WHERE judged_units.given AND judged_units.unit_abo IS NOT NULL AND NOT judged_units.transplanted
