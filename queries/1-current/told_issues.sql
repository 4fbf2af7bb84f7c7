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
-- first, second, … of those bags again. What was never issued has no time of
-- issue that tells it from the bags of another month: its thaw and its discard do.
unnumbered AS (
    SELECT
        told.*,
        coalesce(told.status = 'cancelled', false) AS cancels,
        CASE WHEN told.issued_at IS NULL THEN concat_ws('|', told.product_code, told.patient_id, told.thawed_at) END AS thaw,
        concat_ws('|', told.product_code, told.issued_at, told.patient_id,
            CASE WHEN told.issued_at IS NULL THEN 'thawed ' || CAST(told.thawed_at AS VARCHAR) END,
            CASE WHEN told.issued_at IS NULL THEN 'discarded ' || CAST(told.discarded_at AS VARCHAR) END) AS same
    FROM told
    WHERE coalesce(told.is_batch, false) AND told.bag_no IS NULL
),
placed AS (
    SELECT
        unnumbered.*,
        row_number() OVER (
            PARTITION BY unnumbered.reading_order, unnumbered.unit_no, unnumbered.same
            ORDER BY unnumbered.source_row, hash(*COLUMNS(* EXCLUDE (reading_file, reading_order, cancels, thaw, same)))
        ) AS place
    FROM unnumbered
),
-- A cancelled row is no bag more: the first, second, … of a file cancels the
-- first, second, … bag that stands before it there, or where none does, one of
-- those that the file does not tell again.
counted AS (
    SELECT
        placed.*,
        count(*) FILTER (WHERE NOT placed.cancels) OVER so_far AS told_so_far,
        count(*) FILTER (WHERE NOT placed.cancels) OVER (PARTITION BY placed.reading_order, placed.unit_no, placed.same) AS told_in_file
    FROM placed
    WINDOW so_far AS (PARTITION BY placed.reading_order, placed.unit_no, placed.same ORDER BY placed.place ROWS UNBOUNDED PRECEDING)
),
cancelling AS (
    SELECT
        counted.*,
        count(*) FILTER (WHERE counted.cancels AND counted.told_so_far > 0) OVER so_far AS cancelled_so_far
    FROM counted
    WINDOW so_far AS (PARTITION BY counted.reading_order, counted.unit_no, counted.same ORDER BY counted.place ROWS UNBOUNDED PRECEDING)
),
matched AS (
    SELECT
        cancelling.*,
        cancelling.cancels AND (cancelling.told_so_far = 0 OR cancelling.cancelled_so_far > cancelling.told_so_far) AS stands_alone
    FROM cancelling
),
occurring AS (
    SELECT
        matched.*,
        CASE
            WHEN NOT matched.cancels THEN matched.told_so_far
            WHEN NOT matched.stands_alone THEN matched.cancelled_so_far
            ELSE matched.told_in_file + count(*) FILTER (WHERE matched.stands_alone) OVER so_far
        END AS occurrence
    FROM matched
    WINDOW so_far AS (PARTITION BY matched.reading_order, matched.unit_no, matched.same ORDER BY matched.place ROWS UNBOUNDED PRECEDING)
),
-- A bag told as thawed alone is one of those of the same thaw whose discard a
-- later file tells, or one of which none does: those discarded by then come first.
thawed_and_discarded AS (
    SELECT occurring.unit_no, occurring.thaw, occurring.same, occurring.occurrence, min(occurring.reading_order) AS first_order
    FROM occurring
    WHERE occurring.issued_at IS NULL AND occurring.thawed_at IS NOT NULL AND occurring.discarded_at IS NOT NULL
    GROUP BY ALL
),
discarded AS (
    SELECT
        thawed_and_discarded.*,
        row_number() OVER (
            PARTITION BY thawed_and_discarded.unit_no, thawed_and_discarded.thaw
            ORDER BY thawed_and_discarded.first_order, thawed_and_discarded.same, thawed_and_discarded.occurrence
        ) AS nth
    FROM thawed_and_discarded
),
discarded_by AS (
    SELECT told_thaws.reading_order, told_thaws.unit_no, told_thaws.thaw, count(*) AS discards
    FROM (SELECT DISTINCT occurring.reading_order, occurring.unit_no, occurring.thaw FROM occurring WHERE occurring.discarded_at IS NULL) AS told_thaws
    JOIN discarded ON discarded.unit_no = told_thaws.unit_no AND discarded.thaw = told_thaws.thaw AND discarded.first_order <= told_thaws.reading_order
    GROUP BY ALL
),
thawed AS (
    SELECT
        occurring.*,
        CASE
            WHEN occurring.issued_at IS NULL AND occurring.thawed_at IS NOT NULL AND occurring.discarded_at IS NULL
                THEN occurring.occurrence + coalesce(discarded_by.discards, 0)
        END AS nth
    FROM occurring
    LEFT JOIN discarded_by ON discarded_by.reading_order = occurring.reading_order AND discarded_by.unit_no = occurring.unit_no AND discarded_by.thaw = occurring.thaw
)
SELECT
    thawed.* EXCLUDE (cancels, thaw, same, place, told_so_far, told_in_file, cancelled_so_far, stands_alone, occurrence, nth),
    concat(thawed.unit_no, '|', thawed.bag_code, '|batch-',
        left(sha256(coalesce(discarded.same, thawed.same)), 16),
        '-', coalesce(discarded.occurrence, thawed.nth, thawed.occurrence)) AS bag
FROM thawed
LEFT JOIN discarded ON discarded.unit_no = thawed.unit_no AND discarded.thaw = thawed.thaw AND discarded.nth = thawed.nth
UNION ALL
SELECT
    told.*,
    concat(told.unit_no, '|', told.bag_code, '|', told.bag_no) AS bag
FROM told
WHERE NOT coalesce(told.is_batch, false) OR told.bag_no IS NOT NULL
