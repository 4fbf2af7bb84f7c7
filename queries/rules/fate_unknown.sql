-- fate_unknown: what became of the unit is not recorded.
--
-- of:        unit
-- reads:     judged_units
-- fires:     fate unknown, or presumed where the policy does not count that as transfused
-- not known: never
-- severity:  data
-- source:    common practice
SELECT
    judged_units.key,
    judged_units.episode_id,
    CASE
        WHEN judged_units.fate = 'unknown' OR (judged_units.fate = 'presumed' AND NOT judged_units.given) THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_units.fate
FROM judged_units
