-- findings: What did the rules notice?
--
-- reads:     period_episodes, findings, rules_run
-- points:    finding: label; Finding
--            severity: label; Kind
--            fired: count; In this period
--            run: label; Run
-- answer:    safety: count; Safety findings
--            of: count; Findings
--            rules: units; Rules run
--            not_run: units; Rules not run
-- not known: a finding of a unit without an episode has no month and is left out
SELECT
    replace(rules_run.finding, '_', ' ') AS finding,
    coalesce(min(findings.severity), '–') AS severity,
    count(period_episodes.episode_id) AS fired,
    CASE WHEN rules_run.run THEN 'yes' ELSE 'not run: ' || coalesce(rules_run.why_not, 'no reason told') END AS run
FROM rules_run
LEFT JOIN findings ON findings.finding = rules_run.finding
LEFT JOIN period_episodes ON period_episodes.episode_id = findings.episode_id
GROUP BY rules_run.finding, rules_run.run, rules_run.why_not
ORDER BY
    CASE min(findings.severity) WHEN 'safety' THEN 1 WHEN 'practice' THEN 2 WHEN 'data' THEN 3 ELSE 4 END,
    count(period_episodes.episode_id) DESC,
    rules_run.finding
-- answer
SELECT
    (SELECT count(*) FROM findings INNER JOIN period_episodes ON period_episodes.episode_id = findings.episode_id WHERE findings.severity = 'safety') AS safety,
    (SELECT count(*) FROM findings INNER JOIN period_episodes ON period_episodes.episode_id = findings.episode_id) AS of,
    (SELECT count(*) FROM rules_run WHERE rules_run.run) AS rules,
    (SELECT count(*) FROM rules_run WHERE NOT rules_run.run) AS not_run
