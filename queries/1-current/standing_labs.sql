-- standing_labs: every result told of a repeated sample, and how it stands among them.
--
-- reads:     told_labs, repeated_labs
WITH told AS (
    SELECT
        told_labs.*,
        told_labs.derived_from IS NOT NULL AS is_derived,
        told_labs.status = 'cancelled' AS is_cancelled
    FROM told_labs
    SEMI JOIN repeated_labs
        ON repeated_labs.patient_id = told_labs.patient_id
        AND repeated_labs.test = told_labs.test
        AND repeated_labs.collected_at = told_labs.collected_at
        AND repeated_labs.point_of_care = told_labs.point_of_care
),
-- Ratios made from times are a line of words of their own beside ratios told.
placed AS (
    SELECT
        told.*,
        row_number() OVER later_first AS place,
        bool_or(told.is_cancelled) OVER later_first AS taken_out
    FROM told
    WINDOW later_first AS (
        PARTITION BY told.patient_id, told.test, told.collected_at, told.point_of_care, told.is_derived
        ORDER BY
            told.reading_order DESC,
            -- Without a time of its own a cancellation is the last word of its file, any other result the first.
            coalesce(told.resulted_at, CASE WHEN told.is_cancelled THEN TIMESTAMP 'infinity' ELSE TIMESTAMP '-infinity' END) DESC,
            told.source_row DESC,
            hash(*COLUMNS(* EXCLUDE (reading_file, reading_order)))
        ROWS UNBOUNDED PRECEDING
    )
),
ranked AS (
    SELECT
        placed.*,
        row_number() OVER (
            PARTITION BY placed.patient_id, placed.test, placed.collected_at, placed.point_of_care, placed.is_derived, placed.taken_out
            ORDER BY CASE placed.status WHEN 'corrected' THEN 1 WHEN 'final' THEN 2 ELSE 3 END, placed.place
        ) AS rank_left
    FROM placed
),
chosen AS (
    SELECT
        ranked.*,
        NOT ranked.taken_out AND ranked.rank_left = 1 AS is_chosen
    FROM ranked
)
SELECT
    chosen.* EXCLUDE (is_derived, is_cancelled, place, taken_out, rank_left, is_chosen),
    CASE
        WHEN chosen.taken_out THEN 'cancelled'
        WHEN NOT chosen.is_chosen THEN 'superseded'
        -- A ratio made from a time gives way to one that the laboratory told.
        WHEN chosen.is_derived AND bool_or(chosen.is_chosen AND NOT chosen.is_derived)
            OVER (PARTITION BY chosen.patient_id, chosen.test, chosen.collected_at, chosen.point_of_care) THEN 'given way'
        ELSE 'current'
    END AS standing
FROM chosen
