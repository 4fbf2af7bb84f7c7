-- event_spans: the events of patients with plasma, each from its beginning to the last instant it may have lasted.
--
-- reads:     events, recipients, local_days, building
SELECT
    events.patient_id,
    events.kind,
    events.detail,
    events.at,
    greatest(
        coalesce(until_days.ends_at, events.until, at_days.ends_at, events.at),
        coalesce(at_days.ends_at, events.at),
        -- A procedure without an end is taken to last for some hours.
        CASE
            WHEN events.kind = 'procedure' AND events.until IS NULL THEN events.at + hours(building.procedure_assumed_h)
            ELSE events.at
        END
    ) AS through,
    coalesce(at_days.ends_at, events.at) AS began_through,
    events.source_file,
    events.source_row
FROM events
CROSS JOIN building
LEFT JOIN local_days AS at_days ON at_days.starts_at = CASE WHEN told_as_date(events.date_only, 'at') THEN events.at END
LEFT JOIN local_days AS until_days ON until_days.starts_at = CASE WHEN told_as_date(events.date_only, 'until') THEN events.until END
WHERE events.patient_id IN (SELECT recipients.patient_id FROM recipients)
