-- ab_plasma_spent: group AB plasma, the scarce universal group, was given to a recipient of known other group.
--
-- of:        unit
-- needs:     patients
-- reads:     judged_units
-- fires:     group AB given, recipient of known other group, basis not major_haemorrhage
-- not known: given without a patient, or the group of the recipient not known
-- severity:  practice
-- source:    common practice
SELECT
    judged_units.key,
    judged_units.episode_id,
    CASE
        WHEN judged_units.patient_abo IS NULL OR judged_units.episode_id IS NULL THEN 'not_known'
        WHEN judged_units.patient_abo <> 'AB' AND judged_units.basis <> 'major_haemorrhage' THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_units.unit_abo,
    judged_units.patient_abo
FROM judged_units
WHERE judged_units.given AND judged_units.unit_abo = 'AB'
