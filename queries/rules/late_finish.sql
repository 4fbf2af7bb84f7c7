-- late_finish: the transfusion ended too long after the unit left controlled storage.
--
-- of:        unit
-- reads:     judged_units, site_storage
-- fires:     recorded end − left_storage_at over storage_to_end_h; without left_storage_at from the issue, unless the location is controlled storage
-- not known: never recorded as having left controlled storage
-- severity:  practice
-- source:    policy storage_to_end_h
SELECT
    judged_units.key,
    judged_units.episode_id,
    CASE
        WHEN judged_units.left_storage_at IS NULL AND site_storage.location IS NOT NULL THEN 'not_known'
        WHEN judged_units.ended_at > coalesce(judged_units.left_storage_through, judged_units.issued_at) + hours(judged_units.storage_to_end_h) THEN 'fired'
        ELSE 'clear'
    END AS result,
    hours_between(coalesce(judged_units.left_storage_at, judged_units.issued_at), judged_units.ended_at) AS hours_out,
    judged_units.storage_to_end_h
FROM judged_units
LEFT JOIN (SELECT DISTINCT site_storage.location FROM site_storage) AS site_storage ON site_storage.location = judged_units.location
WHERE judged_units.given AND judged_units.ended_at IS NOT NULL
