-- bags: plasma bags thawed, issued or discarded, each once, with the fate that ranks first over their rows.
--
-- reads:     component_units, zone
WITH plasma AS (
    SELECT
        component_units.bag,
        component_units.unit_no,
        component_units.product_code,
        component_units.bag_no,
        component_units.product,
        component_units.unit_abo,
        component_units.location,
        component_units.fate,
        component_units.thawed_at,
        component_units.issued_at,
        component_units.started_at,
        component_units.returned_at,
        component_units.discarded_at,
        component_units.discard_reason,
        component_units.source_file,
        component_units.source_row,
        CASE component_units.fate
            WHEN 'transfused' THEN 1 WHEN 'presumed' THEN 2 WHEN 'discarded' THEN 3
            WHEN 'transferred' THEN 4 WHEN 'unknown' THEN 5 ELSE 6
        END AS fate_rank
    FROM component_units
    WHERE component_units.component = 'plasma'
),

-- Nearly every bag has one row: only those of the others need an order.
repeated AS (
    SELECT plasma.bag
    FROM plasma
    GROUP BY plasma.bag
    HAVING count(*) > 1
),

ranked AS (
    SELECT
        plasma.*,
        -- A discard told without an issue comes after the issues of the bag.
        row_number() OVER (
            PARTITION BY plasma.bag
            ORDER BY coalesce(plasma.issued_at, plasma.discarded_at, plasma.thawed_at) DESC, plasma.issued_at DESC NULLS FIRST, plasma.source_file DESC, plasma.source_row DESC
        ) AS from_last,
        row_number() OVER (
            PARTITION BY plasma.bag
            ORDER BY plasma.issued_at DESC NULLS LAST, plasma.source_file DESC, plasma.source_row DESC
        ) AS issue_from_last
    FROM plasma
    WHERE plasma.bag IN (SELECT repeated.bag FROM repeated)
),

gathered AS (
    SELECT
        plasma.bag,
        plasma.unit_no,
        plasma.product_code,
        plasma.bag_no,
        plasma.product,
        plasma.unit_abo,
        plasma.location,
        plasma.fate_rank,
        plasma.thawed_at,
        plasma.issued_at,
        plasma.discarded_at,
        CASE WHEN plasma.fate = 'discarded' THEN plasma.discarded_at END AS last_discarded_at,
        CASE WHEN plasma.fate = 'discarded' THEN plasma.discard_reason END AS last_reason,
        CASE WHEN plasma.fate = 'discarded' THEN plasma.discard_reason END AS any_reason,
        coalesce(plasma.started_at, plasma.discarded_at, plasma.returned_at) AS ended_use_at,
        plasma.product IN ('liquid', 'dried') AS never_frozen
    FROM plasma
    WHERE plasma.bag NOT IN (SELECT repeated.bag FROM repeated)
    UNION ALL
    SELECT
        ranked.bag,
        max(ranked.unit_no) FILTER (WHERE ranked.from_last = 1) AS unit_no,
        max(ranked.product_code) FILTER (WHERE ranked.from_last = 1) AS product_code,
        max(ranked.bag_no) FILTER (WHERE ranked.from_last = 1) AS bag_no,
        max(ranked.product) FILTER (WHERE ranked.from_last = 1) AS product,
        max(ranked.unit_abo) FILTER (WHERE ranked.from_last = 1) AS unit_abo,
        max(ranked.location) FILTER (WHERE ranked.issue_from_last = 1) AS location,
        min(ranked.fate_rank) AS fate_rank,
        min(ranked.thawed_at) AS thawed_at,
        min(ranked.issued_at) AS issued_at,
        min(ranked.discarded_at) AS discarded_at,
        max(ranked.discarded_at) FILTER (WHERE ranked.fate = 'discarded') AS last_discarded_at,
        arg_max(ranked.discard_reason, ranked.discarded_at) FILTER (WHERE ranked.fate = 'discarded' AND ranked.discard_reason IS NOT NULL AND ranked.from_last = 1) AS last_reason,
        max(ranked.discard_reason) FILTER (WHERE ranked.fate = 'discarded') AS any_reason,
        max(coalesce(ranked.started_at, ranked.discarded_at, ranked.returned_at)) FILTER (WHERE ranked.issue_from_last = 1) AS ended_use_at,
        bool_or(ranked.product IN ('liquid', 'dried')) AS never_frozen
    FROM ranked
    GROUP BY ranked.bag
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
        dated.month_at + to_seconds(month_zone.offset_s) AS month_local,
        dated.thawed_at + to_seconds(thaw_zone.offset_s) AS thawed_local,
        CASE WHEN dated.fate = 'discarded' THEN coalesce(dated.last_reason, dated.any_reason) END AS reason,
        CASE WHEN dated.fate = 'discarded' AND dated.last_discarded_at IS NOT NULL THEN dated.last_discarded_at ELSE dated.ended_use_at END AS fate_at
    FROM dated
    ASOF LEFT JOIN zone AS month_zone ON dated.month_at >= month_zone.from_utc
    ASOF LEFT JOIN zone AS thaw_zone ON dated.thawed_at >= thaw_zone.from_utc
)

SELECT
    reasoned.bag,
    reasoned.unit_no,
    reasoned.product_code,
    reasoned.bag_no,
    reasoned.product,
    reasoned.unit_abo,
    reasoned.location,
    strftime(reasoned.month_local, '%Y-%m') AS month,
    reasoned.fate,
    (reasoned.fate = 'discarded' AND reasoned.thawed_at IS NULL AND reasoned.issued_at IS NULL AND NOT coalesce(reasoned.never_frozen, false)) AS frozen_loss,
    reasoned.reason,
    CASE WHEN reasoned.reason IS NOT NULL THEN reasoned.reason IN ('expired_after_thaw', 'out_of_temperature', 'no_longer_needed', 'wrong_unit') END AS avoidable,
    reasoned.thawed_at,
    reasoned.thawed_local,
    hours_between(reasoned.thawed_at, reasoned.fate_at) AS hours_thaw_to_fate
FROM reasoned
