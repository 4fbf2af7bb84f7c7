-- recorded: for bleeding and for medicines, the calendar months that hold an accepted row of any file, superseded and cancelled ones too: what nobody told shows as not there only where the feed was kept.
--
-- reads:     source_events, source_medicines, local_days
WITH days AS (
    SELECT 'bleeding' AS what, local_days.day, instants.told
    FROM (
        SELECT source_events.at, count(*) AS told
        FROM source_events
        WHERE source_events.kind = 'bleeding'
        GROUP BY source_events.at
    ) AS instants
    ASOF INNER JOIN local_days ON instants.at >= local_days.starts_at
    UNION ALL
    SELECT 'medicines', local_days.day, instants.told
    FROM (
        SELECT source_medicines.given_at, count(*) AS told
        FROM source_medicines
        GROUP BY source_medicines.given_at
    ) AS instants
    ASOF INNER JOIN local_days ON instants.given_at >= local_days.starts_at
)

SELECT
    days.what,
    strftime(days.day, '%Y-%m') AS month,
    min(days.day) AS first_day,
    max(days.day) AS last_day,
    CAST(sum(days.told) AS BIGINT) AS rows_told
FROM days
GROUP BY days.what, strftime(days.day, '%Y-%m')
ORDER BY days.what, month
