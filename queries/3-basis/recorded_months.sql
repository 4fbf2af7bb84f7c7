-- recorded_months: for bleeding and for medicines: the calendar months that hold an accepted row, and the first and last day of all.
--
-- reads:     events, medicines, local_days
WITH days AS (
    SELECT 'bleeding' AS what, local_days.day
    FROM (SELECT DISTINCT events.at FROM events WHERE events.kind = 'bleeding') AS instants
    ASOF INNER JOIN local_days ON instants.at >= local_days.starts_at
    UNION
    SELECT 'medicines', local_days.day
    FROM (SELECT DISTINCT medicines.given_at FROM medicines) AS instants
    ASOF INNER JOIN local_days ON instants.given_at >= local_days.starts_at
)

SELECT
    days.what,
    date_trunc('month', days.day) AS month,
    min(min(days.day)) OVER (PARTITION BY days.what) AS first_day,
    max(max(days.day)) OVER (PARTITION BY days.what) AS last_day
FROM days
GROUP BY days.what, date_trunc('month', days.day)
