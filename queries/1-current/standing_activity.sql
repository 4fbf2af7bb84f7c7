-- standing_activity: every count of activity told, and how it stands among those of its key.
--
-- reads:     source_activity, readings
WITH told AS (
    SELECT
        source_activity.*,
        readings.reading_order
    FROM source_activity
    JOIN readings ON readings.reading_file = source_activity.reading_file
),
-- later_first runs from the last word backwards: a cancellation takes out its own row and all before it.
placed AS (
    SELECT
        told.*,
        row_number() OVER later_first AS place,
        bool_or(coalesce(told.status = 'cancelled', false)) OVER later_first AS taken_out
    FROM told
    WINDOW later_first AS (
        PARTITION BY told.month, told.location, told.measure
        ORDER BY told.reading_order DESC, told.source_row DESC, hash(*COLUMNS(* EXCLUDE (reading_file, reading_order)))
        ROWS UNBOUNDED PRECEDING
    )
)
SELECT
    placed.* EXCLUDE (place, taken_out),
    CASE WHEN placed.taken_out THEN 'cancelled' WHEN placed.place = 1 THEN 'current' ELSE 'superseded' END AS standing
FROM placed
