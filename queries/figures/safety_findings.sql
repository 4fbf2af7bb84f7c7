-- safety_findings: What did the safety rules find?
--
-- reads:     rules, rules_run, safety_dates, period, period_episodes
-- points:    finding: label; Finding
--            period: count; In this period
--            year: count; In the twelve months
--            means: label; What it says
--            run: label; Run
--            counted: key; The finding, where it is of episodes
--            rule: key; The finding, as safety_dates names it
-- answer:    n: count; Episodes with a safety finding
--            of: count; Episodes given
--            not_known: units; Safety rules that did not run
-- means:     period: period, of_safety has counted
--            year: year, of safety_dates, by rule
--            answer n: period, outcome transfused, with_safety_finding true
--            answer of: period, outcome transfused
-- adds up:   no
-- not known: what no feed records is not found: a rule that did not run says why. An episode may have several findings, and a finding may be of a unit without an episode
SELECT
    replace(rules_run.finding, '_', ' ') AS finding,
    -- A rule that could judge nothing has found nothing out.
    CASE WHEN rules_run.run AND rules_run.judged > rules_run.not_known THEN count(*) FILTER (safety_dates.month >= period.from_month AND safety_dates.month <= period.to_month) END AS period,
    CASE WHEN rules_run.run AND rules_run.judged > rules_run.not_known THEN count(*) FILTER (safety_dates.month >= period.year_from_month AND safety_dates.month <= period.to_month) END AS year,
    rules.says AS means,
    CASE WHEN rules_run.run AND rules_run.judged > rules_run.not_known THEN 'yes' WHEN rules_run.run THEN 'yes, with nothing to judge' ELSE 'not run: ' || coalesce(rules_run.why_not, 'no reason told') END AS run,
    CASE
        WHEN count(*) FILTER (safety_dates.month >= period.from_month AND safety_dates.month <= period.to_month)
            = count(DISTINCT safety_dates.episode_id) FILTER (safety_dates.month >= period.from_month AND safety_dates.month <= period.to_month)
        THEN replace(rules_run.finding, '_', ' ') ELSE ''
    END AS counted,
    rules_run.finding AS rule
FROM rules_run
CROSS JOIN period
INNER JOIN rules ON rules.finding = rules_run.finding AND rules.severity = 'safety'
LEFT JOIN safety_dates ON safety_dates.finding = rules_run.finding
GROUP BY rules_run.finding, rules.says, rules_run.run, rules_run.why_not, rules_run.judged, rules_run.not_known
ORDER BY rules_run.finding
-- answer
SELECT
    (SELECT count(DISTINCT safety_dates.episode_id)
        FROM safety_dates
        INNER JOIN period_episodes ON period_episodes.episode_id = safety_dates.episode_id
        WHERE period_episodes.outcome = 'transfused') AS n,
    (SELECT count(*) FROM period_episodes WHERE period_episodes.outcome = 'transfused') AS of,
    (SELECT count(*) FROM rules_run INNER JOIN rules ON rules.finding = rules_run.finding AND rules.severity = 'safety' WHERE NOT rules_run.run) AS not_known
