-- indication_missing: no indication was given with the unit.
--
-- of:        unit
-- reads:     judged_units
-- fires:     no indication, mapped or raw
-- not known: never
-- severity:  data
-- source:    common practice
SELECT
    judged_units.key,
    judged_units.episode_id,
    CASE
        WHEN judged_units.indication IS NULL AND judged_units.indication_raw IS NULL THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_units.fate
FROM judged_units
WHERE judged_units.episode_id IS NOT NULL
