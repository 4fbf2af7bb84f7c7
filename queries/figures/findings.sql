-- findings: What did the rules of practice and data notice?
--
-- reads:     period_episodes, findings, rules, rules_run
-- points:    finding: label; Finding
--            fired: count; In {period}
--            unit: label; Of
--            means: label; What it says
--            severity: label; Kind
--            run: label; Run
--            counted: key; The finding, where it is of episodes
-- answer:    of: count; Findings
--            rules: units; Rules of the table that ran
--            idle: units; Of these, with nothing to judge in the period
--            not_run: units; Rules of the table that did not run
-- means:     fired: period, of_practice has counted
--            answer of: sum of fired
-- order:     fired within severity
-- not known: safety findings have a section of their own. A finding of a unit without an episode has no month and is left out
WITH

noticed AS (
    SELECT findings.finding, findings.severity, period_episodes.episode_id
    FROM findings
    INNER JOIN period_episodes ON period_episodes.episode_id = findings.episode_id
    WHERE findings.severity <> 'safety'
),

-- Where nothing was given, a rule of episodes has nothing to judge, and where nothing
-- was issued, nor has one of units.
here AS (
    SELECT
        count(*) FILTER (period_episodes.outcome = 'transfused') > 0 AS any_given,
        count(*) > 0 AS any_issued
    FROM period_episodes
),

judging AS (
    SELECT
        rules_run.*,
        rules.says,
        rules.severity,
        rules.of,
        rules_run.run AND rules_run.judged > rules_run.not_known
        AND CASE WHEN rules.of = 'episode' THEN here.any_given ELSE here.any_issued END AS judges
    FROM rules_run
    CROSS JOIN here
    LEFT JOIN rules ON rules.finding = rules_run.finding
)

SELECT
    replace(judging.finding, '_', ' ') AS finding,
    -- A rule that could judge nothing has noticed nothing.
    CASE WHEN judging.judges THEN count(noticed.episode_id) END AS fired,
    CASE WHEN judging.of = 'unit' THEN 'units' ELSE 'episodes' END AS unit,
    coalesce(judging.says, '') AS means,
    coalesce(min(noticed.severity), judging.severity, '–') AS severity,
    CASE WHEN judging.judges THEN 'yes' WHEN judging.run THEN 'yes, with nothing to judge' ELSE 'not run: ' || coalesce(judging.why_not, 'no reason told') END AS run,
    -- A finding of units may be there several times in an episode.
    CASE WHEN count(noticed.episode_id) = count(DISTINCT noticed.episode_id) THEN replace(judging.finding, '_', ' ') ELSE '' END AS counted
FROM judging
LEFT JOIN noticed ON noticed.finding = judging.finding
GROUP BY judging.finding, judging.run, judging.why_not, judging.judges, judging.says, judging.severity, judging.of
HAVING judging.severity IS DISTINCT FROM 'safety' OR count(noticed.episode_id) > 0
ORDER BY
    CASE coalesce(min(noticed.severity), judging.severity) WHEN 'practice' THEN 1 WHEN 'data' THEN 2 ELSE 3 END,
    count(noticed.episode_id) DESC,
    judging.finding
-- answer
SELECT
    (SELECT count(*) FROM findings INNER JOIN period_episodes ON period_episodes.episode_id = findings.episode_id WHERE findings.severity <> 'safety') AS of,
    (SELECT count(*) FROM points WHERE points.run NOT LIKE 'not run: %') AS rules,
    (SELECT count(*) FROM points WHERE points.run = 'yes, with nothing to judge') AS idle,
    (SELECT count(*) FROM points WHERE points.run LIKE 'not run: %') AS not_run
