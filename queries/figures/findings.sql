-- findings: What did the rules of practice and data notice?
--
-- reads:     period_episodes, findings, rules, rules_run
-- points:    finding: label; Finding
--            fired: count; In this period
--            means: label; What it says
--            severity: label; Kind
--            run: label; Run
--            counted: key; The finding, where it is of episodes
-- answer:    of: count; Findings
--            rules: units; Rules of the table that ran
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
)

SELECT
    replace(rules_run.finding, '_', ' ') AS finding,
    -- A rule that could judge nothing has noticed nothing.
    CASE WHEN rules_run.run AND rules_run.judged > rules_run.not_known THEN count(noticed.episode_id) END AS fired,
    coalesce(rules.says, '') AS means,
    coalesce(min(noticed.severity), rules.severity, '–') AS severity,
    CASE WHEN rules_run.run AND rules_run.judged > rules_run.not_known THEN 'yes' WHEN rules_run.run THEN 'yes, with nothing to judge' ELSE 'not run: ' || coalesce(rules_run.why_not, 'no reason told') END AS run,
    -- A finding of units may be there several times in an episode.
    CASE WHEN count(noticed.episode_id) = count(DISTINCT noticed.episode_id) THEN replace(rules_run.finding, '_', ' ') ELSE '' END AS counted
FROM rules_run
LEFT JOIN rules ON rules.finding = rules_run.finding
LEFT JOIN noticed ON noticed.finding = rules_run.finding
GROUP BY rules_run.finding, rules_run.run, rules_run.why_not, rules_run.judged, rules_run.not_known, rules.says, rules.severity
HAVING rules.severity IS DISTINCT FROM 'safety' OR count(noticed.episode_id) > 0
ORDER BY
    CASE coalesce(min(noticed.severity), rules.severity) WHEN 'practice' THEN 1 WHEN 'data' THEN 2 ELSE 3 END,
    count(noticed.episode_id) DESC,
    rules_run.finding
-- answer
SELECT
    (SELECT count(*) FROM findings INNER JOIN period_episodes ON period_episodes.episode_id = findings.episode_id WHERE findings.severity <> 'safety') AS of,
    (SELECT count(*) FROM points WHERE points.run NOT LIKE 'not run: %') AS rules,
    (SELECT count(*) FROM points WHERE points.run LIKE 'not run: %') AS not_run
