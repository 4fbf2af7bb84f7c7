-- times_assumed: start or end of a given unit is assumed.
--
-- of:        unit
-- reads:     judged_units
-- fires:     given, times_basis assumed
-- not known: never
-- severity:  data
-- source:    policy assumed_infusion_min, assumed_issue_to_end_min
SELECT
    judged_units.key,
    judged_units.episode_id,
    CASE
        WHEN judged_units.times_basis = 'assumed' THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_units.begin,
    judged_units.finish
FROM judged_units
WHERE judged_units.given
