-- bedside_matches: the issue that each bedside record belongs to.
--
-- reads:     standing_bedside, resolved_issues
WITH records AS (
    SELECT
        standing_bedside.*,
        row_number() OVER (ORDER BY standing_bedside.reading_order, standing_bedside.source_row,
            standing_bedside.unit_no, standing_bedside.product_code, standing_bedside.bag_no,
            standing_bedside.patient_id, standing_bedside.started_at) AS record_no
    FROM standing_bedside
    WHERE standing_bedside.standing = 'current'
),
issued AS (
    SELECT
        resolved_issues.bag,
        resolved_issues.unit_no,
        resolved_issues.bag_code,
        resolved_issues.bag_no,
        resolved_issues.patient_id,
        resolved_issues.issued_at,
        -- An issue told as a day counts if any of its day lies in the window.
        CASE WHEN told_as_date(resolved_issues.date_only, 'issued_at') THEN day_end(resolved_issues.issued_at) ELSE resolved_issues.issued_at END AS issued_until
    FROM resolved_issues
    SEMI JOIN records ON records.unit_no = resolved_issues.unit_no
    WHERE resolved_issues.issued_at IS NOT NULL
),
latest AS (
    SELECT
        records.record_no,
        records.started_at,
        issued.bag,
        issued.issued_at
    FROM records
    JOIN issued
        ON issued.unit_no = records.unit_no
        AND (records.bag_code IS NULL OR issued.bag_code = records.bag_code)
        AND issued.bag_no IS NOT DISTINCT FROM records.bag_no
        AND issued.patient_id = records.patient_id
        AND issued.issued_until >= records.started_at - hours(24)
        AND issued.issued_at <= records.started_at + minutes(10)
    QUALIFY rank() OVER (PARTITION BY records.record_no ORDER BY issued.issued_at DESC) = 1
),
-- Bags of one batch may be issued together, under one number: their records
-- are dealt out to them in the order in which they started.
choices AS (
    SELECT
        latest.record_no,
        any_value(latest.started_at) AS started_at,
        any_value(latest.issued_at) AS issued_at,
        list(latest.bag ORDER BY latest.bag) AS bags
    FROM latest
    GROUP BY latest.record_no
),
dealt AS (
    SELECT
        choices.*,
        row_number() OVER (PARTITION BY choices.bags, choices.issued_at ORDER BY choices.started_at, choices.record_no) AS turn
    FROM choices
)
SELECT
    records.* EXCLUDE (reading_file, standing),
    dealt.bags[(dealt.turn - 1) % len(dealt.bags) + 1] AS bag,
    dealt.issued_at
FROM records
LEFT JOIN dealt ON dealt.record_no = records.record_no
