-- indication_unmapped: the unit's indication stands in no map.
--
-- of:        unit
-- reads:     judged_units
-- fires:     an indication as exported, none mapped
-- not known: never
-- severity:  data
-- source:    common practice
SELECT
    judged_units.key,
    judged_units.episode_id,
    CASE
        WHEN judged_units.indication IS NULL AND judged_units.indication_raw IS NOT NULL THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_units.fate
FROM judged_units
WHERE judged_units.episode_id IS NOT NULL
