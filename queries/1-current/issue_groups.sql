-- issue_groups: for each time at which a repeated bag was issued, the earliest time of the same issue.
--
-- reads:     told_issues, repeated_bags
WITH RECURSIVE times AS (
    SELECT DISTINCT told_issues.bag, told_issues.issued_at
    FROM told_issues
    SEMI JOIN repeated_bags ON repeated_bags.bag = told_issues.bag
    WHERE told_issues.issued_at IS NOT NULL
),
gaps AS (
    SELECT
        times.bag,
        times.issued_at,
        coalesce(times.issued_at > lag(times.issued_at) OVER (PARTITION BY times.bag ORDER BY times.issued_at) + minutes(10), true) AS opens
    FROM times
),
-- Over a gap of more than ten minutes a new issue begins in any case.
runs AS (
    SELECT
        gaps.bag,
        gaps.issued_at,
        sum(CAST(gaps.opens AS BIGINT)) OVER (PARTITION BY gaps.bag ORDER BY gaps.issued_at ROWS UNBOUNDED PRECEDING) AS run
    FROM gaps
),
spans AS (
    SELECT runs.bag, runs.run, min(runs.issued_at) AS first_at, max(runs.issued_at) AS last_at
    FROM runs
    GROUP BY runs.bag, runs.run
),
-- A run longer than ten minutes is cut step by step: the next issue begins at
-- the first time that is more than ten minutes after the last one's earliest.
anchors AS (
    SELECT spans.bag, spans.run, spans.first_at AS anchor, spans.last_at
    FROM spans
    UNION ALL
    SELECT anchors.bag, anchors.run, min(runs.issued_at) AS anchor, anchors.last_at
    FROM anchors
    JOIN runs ON runs.bag = anchors.bag AND runs.run = anchors.run AND runs.issued_at > anchors.anchor + minutes(10)
    WHERE anchors.last_at > anchors.anchor + minutes(10)
    GROUP BY anchors.bag, anchors.run, anchors.last_at
)
SELECT
    runs.bag,
    runs.issued_at,
    max(anchors.anchor) AS earliest_at
FROM runs
JOIN anchors ON anchors.bag = runs.bag AND anchors.run = runs.run AND anchors.anchor <= runs.issued_at
GROUP BY runs.bag, runs.issued_at
