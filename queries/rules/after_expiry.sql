-- after_expiry: the transfusion was started after the unit had expired.
--
-- of:        unit
-- reads:     judged_units
-- fires:     started_at after expires_at
-- not known: never: only units with both times are judged
-- severity:  safety
-- source:    common practice
SELECT
    judged_units.key,
    judged_units.episode_id,
    CASE
        WHEN judged_units.started_at > judged_units.expires_at THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_units.started_at,
    judged_units.expires_at,
    hours_between(judged_units.expires_at, judged_units.started_at) AS hours_after
FROM judged_units
WHERE judged_units.given AND judged_units.started_at IS NOT NULL AND judged_units.expires_at IS NOT NULL
