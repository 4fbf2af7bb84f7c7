-- bedside_joined: the cells of each issue that the bedside speaks of, filled, and held against the limits of issues.
--
-- reads:     bedside_cells, resolved_issues
WITH filled AS (
    SELECT
        resolved_issues.bag,
        resolved_issues.issued_at,
        told_as_date(resolved_issues.date_only, 'issued_at') AS issued_on_a_day,
        coalesce(resolved_issues.started_at, bedside_cells.started_at) AS started_told,
        coalesce(resolved_issues.ended_at, bedside_cells.ended_at) AS ended_told,
        coalesce(resolved_issues.transfused_ml, bedside_cells.transfused_ml) AS transfused_told,
        coalesce(resolved_issues.volume_ml, resolved_issues.nominal_ml) AS bag_ml,
        bedside_cells.bedside_file,
        bedside_cells.bedside_row
    FROM bedside_cells
    JOIN resolved_issues ON resolved_issues.bag = bedside_cells.bag AND resolved_issues.issued_at = bedside_cells.issued_at
),
-- A start before the issue: up to ten minutes are two clocks, and set equal. An
-- issue told as a day is never set equal: all of that day would be after the start.
started AS (
    SELECT
        filled.*,
        CASE
            WHEN filled.started_told >= filled.issued_at THEN filled.started_told
            WHEN NOT filled.issued_on_a_day AND filled.started_told >= filled.issued_at - minutes(10) THEN filled.issued_at
        END AS started_at
    FROM filled
),
-- An end before the start or the issue, in the same way.
bounded AS (
    SELECT
        started.*,
        greatest(coalesce(started.started_at, started.issued_at), started.issued_at) AS not_before,
        CASE WHEN started.issued_on_a_day THEN day_end(started.issued_at) ELSE started.issued_at END + hours(24) AS not_after
    FROM started
),
ended AS (
    SELECT
        bounded.*,
        CASE
            WHEN bounded.ended_told > bounded.not_after THEN NULL
            WHEN bounded.ended_told >= bounded.not_before THEN bounded.ended_told
            WHEN bounded.issued_on_a_day AND bounded.not_before = bounded.issued_at THEN NULL
            WHEN bounded.ended_told >= bounded.not_before - minutes(10) THEN bounded.not_before
        END AS ended_at,
        CASE WHEN bounded.transfused_told >= 0 AND coalesce(bounded.transfused_told <= 1.1 * bounded.bag_ml, true) THEN bounded.transfused_told END AS transfused_ml
    FROM bounded
)
SELECT
    ended.bag,
    ended.issued_at,
    ended.started_at,
    ended.ended_at,
    ended.transfused_ml,
    ended.bedside_file,
    ended.bedside_row,
    CAST(coalesce(ended.started_at <> ended.started_told, false) AS BIGINT)
        + CAST(coalesce(ended.ended_at <> ended.ended_told, false) AS BIGINT) AS set_equal,
    CAST(ended.started_at IS NULL AND ended.started_told IS NOT NULL AS BIGINT)
        + CAST(ended.ended_at IS NULL AND ended.ended_told IS NOT NULL AS BIGINT)
        + CAST(ended.transfused_ml IS NULL AND ended.transfused_told IS NOT NULL AS BIGINT) AS emptied
FROM ended
