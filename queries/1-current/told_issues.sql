-- told_issues: every issue told, its patient's number followed to the end, and the bag that it speaks of.
--
-- reads:     source_issues, readings, alias_ends
WITH told AS MATERIALIZED (
    SELECT
        source_issues.* REPLACE (coalesce(alias_ends.patient_id, source_issues.patient_id) AS patient_id),
        readings.reading_order
    FROM source_issues
    JOIN readings ON readings.reading_file = source_issues.reading_file
    LEFT JOIN alias_ends ON alias_ends.alias = source_issues.patient_id
),
-- The bags of a batch share one number. Each row of a file is a bag of its own,
-- and the first, second, … row of a later file that tells the same is the
-- first, second, … of those bags again.
unnumbered AS (
    SELECT
        told.*,
        row_number() OVER (
            PARTITION BY told.reading_order, told.unit_no, told.product_code, told.patient_id, told.issued_at
            ORDER BY told.source_row, hash(*COLUMNS(* EXCLUDE (reading_file, reading_order)))
        ) AS occurrence
    FROM told
    WHERE coalesce(told.is_batch, false) AND told.bag_no IS NULL
)
SELECT
    unnumbered.* EXCLUDE (occurrence),
    concat(unnumbered.unit_no, '|', unnumbered.bag_code, '|batch-',
        left(sha256(concat_ws('|', unnumbered.product_code, unnumbered.issued_at, unnumbered.patient_id)), 16),
        '-', unnumbered.occurrence) AS bag
FROM unnumbered
UNION ALL
SELECT
    told.*,
    concat(told.unit_no, '|', told.bag_code, '|', told.bag_no) AS bag
FROM told
WHERE NOT coalesce(told.is_batch, false) OR told.bag_no IS NOT NULL
