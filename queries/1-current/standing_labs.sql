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
        NOT ranked.taken_out AND ranked.rank_left = 1 AS is_chosen,
        -- An empty line, or one that waits for its result, tells no ratio.
        ranked.value IS NOT NULL OR coalesce(ranked.no_value = 'unclottable', false) AS says_ratio
    FROM ranked
),
beside AS (
    SELECT
        chosen.*,
        bool_or(chosen.is_chosen AND NOT chosen.is_derived) OVER same_sample AS any_told,
        bool_or(chosen.is_chosen AND NOT chosen.is_derived AND chosen.says_ratio) OVER same_sample AS any_told_ratio,
        bool_or(chosen.is_chosen AND chosen.is_derived AND chosen.says_ratio) OVER same_sample AS any_derived_ratio
    FROM chosen
    WINDOW same_sample AS (PARTITION BY chosen.patient_id, chosen.test, chosen.collected_at, chosen.point_of_care)
)
SELECT
    beside.* EXCLUDE (is_derived, is_cancelled, place, taken_out, rank_left, is_chosen, says_ratio, any_told, any_told_ratio, any_derived_ratio),
    CASE
        WHEN beside.taken_out THEN 'cancelled'
        WHEN NOT beside.is_chosen THEN 'superseded'
        -- A ratio made from a time gives way to one that the laboratory told.
        WHEN beside.is_derived AND beside.any_told AND (beside.any_told_ratio OR NOT beside.says_ratio) THEN 'given way'
        -- A line for a ratio without a ratio gives way to one made from a time.
        WHEN NOT beside.is_derived AND NOT beside.says_ratio AND beside.any_derived_ratio THEN 'given way'
        ELSE 'current'
    END AS standing
FROM beside
