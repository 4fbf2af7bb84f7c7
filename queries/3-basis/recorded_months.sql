-- recorded_months: for bleeding and for medicines: the calendar months that hold an accepted row, and the first and last day of all.
--
-- reads:     recorded
SELECT
    recorded.what,
    date_trunc('month', recorded.first_day) AS month,
    min(recorded.first_day) OVER (PARTITION BY recorded.what) AS first_day,
    max(recorded.last_day) OVER (PARTITION BY recorded.what) AS last_day
FROM recorded
