-- safety_dates: every safety finding with the month and day, on the hospital's clock, of its episode's first issue, else of its unit's.
--
-- reads:     findings, episodes, local_days
WITH dated AS (
    SELECT
        findings.finding,
        findings.episode_id,
        -- A unit that belongs to no episode bears its issue in its key.
        coalesce(
            episodes.first_issued_at,
            try_cast(rtrim(list_last(string_split(findings.key, '|')), 'Z') AS TIMESTAMP)
        ) AS at
    FROM findings
    LEFT JOIN episodes ON episodes.episode_id = findings.episode_id
    WHERE findings.severity = 'safety'
)

SELECT
    dated.finding,
    dated.finding AS rule,
    dated.episode_id,
    strftime(local_days.day, '%Y-%m') AS month,
    local_days.day
FROM dated
ASOF LEFT JOIN local_days ON dated.at >= local_days.starts_at
