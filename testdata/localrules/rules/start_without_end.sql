-- start_without_end: the start of a unit was recorded, its end was not.
--
-- of:        unit
-- reads:     judged_units
-- fires:     started_at recorded, ended_at not
-- not known: given, and neither was recorded
-- severity:  data
-- source:    common practice: the time a unit ran needs both ends
SELECT
    judged_units.key,
    judged_units.episode_id,
    CASE
        WHEN judged_units.started_at IS NULL THEN 'not_known'
        WHEN judged_units.ended_at IS NULL THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_units.started_at
FROM judged_units
WHERE judged_units.given
