-- standing_issues: every row told of a repeated bag, and how it stands among those of its issue.
--
-- reads:     told_issues, repeated_bags, issue_groups
--
-- A bag's rows without an issue are one key of their own: earliest_at is null.
WITH told AS (
    SELECT told_issues.*, issue_groups.earliest_at
    FROM told_issues
    SEMI JOIN repeated_bags ON repeated_bags.bag = told_issues.bag
    LEFT JOIN issue_groups ON issue_groups.bag = told_issues.bag AND issue_groups.issued_at = told_issues.issued_at
),
-- later_first runs from the last word backwards: a cancellation takes out its own row and all before it.
placed AS (
    SELECT
        told.*,
        row_number() OVER later_first AS place,
        bool_or(coalesce(told.status = 'cancelled', false)) OVER later_first AS taken_out
    FROM told
    WINDOW later_first AS (
        PARTITION BY told.bag, told.earliest_at
        ORDER BY told.reading_order DESC, told.source_row DESC, hash(*COLUMNS(* EXCLUDE (reading_file, reading_order)))
        ROWS UNBOUNDED PRECEDING
    )
),
told_over AS (
    SELECT
        placed.*,
        bool_or(placed.issued_at IS NOT NULL AND placed.place = 1 AND NOT placed.taken_out) OVER (PARTITION BY placed.bag) AS bag_is_issued,
        -- A row that was never issued takes the thaw of the row that it
        -- supersedes, which may have taken it in its turn.
        max_by(placed.thawed_at, -placed.place) FILTER (WHERE placed.thawed_at IS NOT NULL)
            OVER (PARTITION BY placed.bag, placed.earliest_at, placed.taken_out) AS last_thawed_at
    FROM placed
)
SELECT
    told_over.* EXCLUDE (place, taken_out, bag_is_issued, last_thawed_at)
        REPLACE (CASE WHEN told_over.issued_at IS NULL AND NOT told_over.taken_out THEN coalesce(told_over.thawed_at, told_over.last_thawed_at) ELSE told_over.thawed_at END AS thawed_at),
    CASE
        WHEN told_over.taken_out THEN 'cancelled'
        WHEN told_over.place > 1 THEN 'superseded'
        -- Thawed and never issued, and not told as thrown away: the issue says more.
        WHEN told_over.issued_at IS NULL AND told_over.bag_is_issued
            AND told_over.discarded_at IS NULL AND told_over.fate IS DISTINCT FROM 'discarded' THEN 'superseded'
        ELSE 'current'
    END AS standing
FROM told_over
