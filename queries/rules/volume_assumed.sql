-- volume_assumed: neither the volume of the unit nor that of its product is known.
--
-- of:        unit
-- reads:     judged_units
-- fires:     volume_basis assumed
-- not known: never
-- severity:  data
-- source:    policy default_unit_ml
SELECT
    judged_units.key,
    judged_units.episode_id,
    CASE
        WHEN judged_units.volume_basis = 'assumed' THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_units.volume
FROM judged_units
