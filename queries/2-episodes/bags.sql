-- bags: plasma bags thawed, issued or discarded, each once, with the fate that ranks first over their rows.
--
-- reads:     issues
WITH plasma AS (
    SELECT
        -- Only what a bag needs: the rows are sorted twice.
        issues.bag,
        issues.unit_no,
        issues.product_code,
        issues.bag_no,
        issues.product,
        issues.unit_abo,
        issues.location,
        issues.fate,
        issues.thawed_at,
        issues.issued_at,
        issues.started_at,
        issues.returned_at,
        issues.discarded_at,
        issues.discard_reason,
        CASE issues.fate
            WHEN 'transfused' THEN 1 WHEN 'presumed' THEN 2 WHEN 'discarded' THEN 3
            WHEN 'transferred' THEN 4 WHEN 'unknown' THEN 5 ELSE 6
        END AS fate_rank,
        -- A discard told without an issue comes after the issues of the bag.
        row_number() OVER (
            PARTITION BY issues.bag
            ORDER BY coalesce(issues.issued_at, issues.discarded_at, issues.thawed_at) DESC, issues.issued_at DESC NULLS FIRST, issues.source_file DESC, issues.source_row DESC
        ) AS from_last,
        row_number() OVER (
            PARTITION BY issues.bag
            ORDER BY issues.issued_at DESC NULLS LAST, issues.source_file DESC, issues.source_row DESC
        ) AS issue_from_last
    FROM issues
    WHERE issues.component = 'plasma'
),

gathered AS (
    SELECT
        plasma.bag,
        max(plasma.unit_no) FILTER (WHERE plasma.from_last = 1) AS unit_no,
        max(plasma.product_code) FILTER (WHERE plasma.from_last = 1) AS product_code,
        max(plasma.bag_no) FILTER (WHERE plasma.from_last = 1) AS bag_no,
        max(plasma.product) FILTER (WHERE plasma.from_last = 1) AS product,
        max(plasma.unit_abo) FILTER (WHERE plasma.from_last = 1) AS unit_abo,
        max(plasma.location) FILTER (WHERE plasma.issue_from_last = 1) AS location,
        min(plasma.fate_rank) AS fate_rank,
        min(plasma.thawed_at) AS thawed_at,
        min(plasma.issued_at) AS issued_at,
        min(plasma.discarded_at) AS discarded_at,
        max(plasma.discarded_at) FILTER (WHERE plasma.fate = 'discarded') AS last_discarded_at,
        arg_max(plasma.discard_reason, plasma.discarded_at) FILTER (WHERE plasma.fate = 'discarded' AND plasma.discard_reason IS NOT NULL AND plasma.from_last = 1) AS last_reason,
        max(plasma.discard_reason) FILTER (WHERE plasma.fate = 'discarded') AS any_reason,
        max(coalesce(plasma.started_at, plasma.discarded_at, plasma.returned_at)) FILTER (WHERE plasma.issue_from_last = 1) AS ended_use_at,
        bool_or(plasma.product IN ('liquid', 'dried')) AS never_frozen
    FROM plasma
    GROUP BY plasma.bag
),

dated AS (
    SELECT
        gathered.*,
        coalesce(gathered.thawed_at, gathered.issued_at, gathered.discarded_at) AS month_at,
        CASE gathered.fate_rank
            WHEN 1 THEN 'transfused' WHEN 2 THEN 'presumed' WHEN 3 THEN 'discarded'
            WHEN 4 THEN 'transferred' WHEN 5 THEN 'unknown' ELSE 'returned'
        END AS fate
    FROM gathered
    WHERE gathered.thawed_at IS NOT NULL OR gathered.issued_at IS NOT NULL OR gathered.discarded_at IS NOT NULL
),

reasoned AS (
    SELECT
        dated.*,
        CASE WHEN dated.fate = 'discarded' THEN coalesce(dated.last_reason, dated.any_reason) END AS reason,
        CASE WHEN dated.fate = 'discarded' AND dated.last_discarded_at IS NOT NULL THEN dated.last_discarded_at ELSE dated.ended_use_at END AS fate_at
    FROM dated
)

SELECT
    reasoned.bag,
    reasoned.unit_no,
    reasoned.product_code,
    reasoned.bag_no,
    reasoned.product,
    reasoned.unit_abo,
    reasoned.location,
    strftime(local_time(reasoned.month_at), '%Y-%m') AS month,
    reasoned.fate,
    (reasoned.fate = 'discarded' AND reasoned.thawed_at IS NULL AND reasoned.issued_at IS NULL AND NOT coalesce(reasoned.never_frozen, false)) AS frozen_loss,
    reasoned.reason,
    CASE WHEN reasoned.reason IS NOT NULL THEN reasoned.reason IN ('expired_after_thaw', 'out_of_temperature', 'no_longer_needed', 'wrong_unit') END AS avoidable,
    reasoned.thawed_at,
    local_time(reasoned.thawed_at) AS thawed_local,
    hours_between(reasoned.thawed_at, reasoned.fate_at) AS hours_thaw_to_fate
FROM reasoned
ORDER BY reasoned.bag
