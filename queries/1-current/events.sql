-- events: the events that are true now, one a key.
--
-- reads:     standing_events
SELECT standing_events.* EXCLUDE (reading_file, reading_order, standing)
FROM standing_events
WHERE standing_events.standing = 'current'
ORDER BY standing_events.patient_id, standing_events.kind, standing_events.at, standing_events.detail NULLS FIRST
