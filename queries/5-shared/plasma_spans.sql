-- plasma_spans: every plasma unit issued in the months of the charts, with the minutes from one step to the next; null where a time is missing or was told as a date alone.
--
-- reads:     issues, months, policy, site_storage
WITH timed AS (
    SELECT
        strftime(issues.issued_local, '%Y-%m') AS month,
        CAST(issues.issued_local AS DATE) AS issued_on,
        issues.location,
        issues.fate,
        CASE WHEN NOT told_as_date(issues.date_only, 'issued_at') THEN issues.issued_at END AS issued_at,
        CASE WHEN NOT told_as_date(issues.date_only, 'requested_at') THEN issues.requested_at END AS requested_at,
        CASE WHEN NOT told_as_date(issues.date_only, 'thawed_at') THEN issues.thawed_at END AS thawed_at,
        issues.started_at,
        issues.ended_at,
        issues.left_storage_at,
        told_as_date(issues.date_only, 'left_storage_at') AS left_on_a_day
    FROM issues
    WHERE issues.component = 'plasma' AND issues.issued_at IS NOT NULL
)

SELECT
    timed.month,
    (timed.fate = 'transfused' OR (timed.fate = 'presumed' AND policy.presumed_is_transfused)) AS given,
    60 * hours_between(timed.requested_at, timed.issued_at) AS request_to_issue,
    60 * hours_between(timed.thawed_at, timed.issued_at) AS thaw_to_issue,
    60 * hours_between(timed.issued_at, timed.started_at) AS issue_to_start,
    -- As the finding late_finish has it: a unit that nobody saw leave storage
    -- left it when it was issued, unless it went to controlled storage.
    60 * hours_between(
        CASE
            WHEN timed.left_on_a_day THEN NULL
            WHEN timed.left_storage_at IS NOT NULL THEN timed.left_storage_at
            WHEN site_storage.location IS NULL THEN timed.issued_at
        END,
        timed.ended_at
    ) AS storage_to_end,
    policy.issue_to_start_min AS start_limit,
    60 * policy.storage_to_end_h AS end_limit
FROM timed
INNER JOIN months ON months.month = timed.month
INNER JOIN policy
    ON (policy.from_date IS NULL OR timed.issued_on >= policy.from_date)
    AND (policy.until_date IS NULL OR timed.issued_on < policy.until_date)
LEFT JOIN (SELECT DISTINCT site_storage.location FROM site_storage) AS site_storage ON site_storage.location = timed.location
