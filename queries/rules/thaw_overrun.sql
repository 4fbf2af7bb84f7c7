-- thaw_overrun: the unit was started later after thawing than the life of the thawed product allows.
--
-- of:        unit
-- reads:     judged_units
-- fires:     recorded start − thawed_at over thawed_life_h of the product
-- not known: never: only units with both times are judged
-- severity:  safety
-- source:    policy thawed_life_h
SELECT
    judged_units.key,
    judged_units.episode_id,
    CASE
        WHEN judged_units.started_at > judged_units.thawed_through + hours(judged_units.life_h) THEN 'fired'
        ELSE 'clear'
    END AS result,
    hours_between(judged_units.thawed_at, judged_units.started_at) AS hours_thawed,
    judged_units.life_h
FROM judged_units
WHERE judged_units.given AND judged_units.started_at IS NOT NULL AND judged_units.thawed_at IS NOT NULL
