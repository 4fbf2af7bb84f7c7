-- safety_findings: What did the safety rules find?
--
-- reads:     rules, rules_run, safety_dates, period, year_episodes, period_episodes
-- points:    finding: label; Finding
--            period: count; In {period}
--            year: count; In {span}
--            unit: label; Of
--            means: label; What it says
--            run: label; Run
--            counted: key; The finding, where it is of episodes
--            rule: key; The finding, as safety_dates names it
-- answer:    n: count; Episodes with a safety finding
--            of: count; Episodes given
--            not_known: units; Safety rules that did not run
--            idle: units; Safety rules with nothing to judge in the period
-- means:     period: period, of_safety has counted
--            year: year, of safety_dates, by rule
--            answer n: period, outcome transfused, with_safety_finding true
--            answer of: period, outcome transfused
-- adds up:   no
-- not known: what no feed records is not found: a rule that did not run says why. An episode may have several findings, and a finding may be of a unit without an episode
WITH

-- Where nothing was given, a rule of episodes has nothing to judge, and where nothing
-- was issued, nor has one of units: but for a unit without an episode.
here AS (
    SELECT
        bool_or(year_episodes.outcome = 'transfused' AND year_episodes.month >= period.from_month) AS any_given,
        bool_or(year_episodes.month >= period.from_month) AS any_issued,
        bool_or(year_episodes.outcome = 'transfused') AS any_given_in_year,
        count(*) > 0 AS any_issued_in_year
    FROM year_episodes
    CROSS JOIN period
),

judging AS (
    SELECT
        rules_run.finding,
        rules_run.run,
        rules_run.why_not,
        rules.says,
        rules.of,
        rules_run.run AND rules_run.judged > rules_run.not_known
        AND coalesce(CASE WHEN rules.of = 'episode' THEN here.any_given ELSE here.any_issued END, false) AS judges,
        rules_run.run AND rules_run.judged > rules_run.not_known
        AND coalesce(CASE WHEN rules.of = 'episode' THEN here.any_given_in_year ELSE here.any_issued_in_year END, false) AS judges_year
    FROM rules_run
    INNER JOIN rules ON rules.finding = rules_run.finding AND rules.severity = 'safety'
    CROSS JOIN here
),

counted AS (
    SELECT
        judging.finding,
        judging.says,
        judging.of,
        judging.run,
        judging.why_not,
        count(*) FILTER (safety_dates.month BETWEEN period.from_month AND period.to_month) AS in_period,
        count(DISTINCT safety_dates.episode_id) FILTER (safety_dates.month BETWEEN period.from_month AND period.to_month) AS episodes,
        count(*) FILTER (safety_dates.month BETWEEN period.year_from_month AND period.to_month) AS in_year,
        judging.judges,
        judging.judges_year
    FROM judging
    CROSS JOIN period
    LEFT JOIN safety_dates ON safety_dates.finding = judging.finding
    GROUP BY ALL
)

-- A rule that could judge nothing has found nothing out.
SELECT
    replace(counted.finding, '_', ' ') AS finding,
    CASE WHEN counted.judges OR counted.in_period > 0 THEN counted.in_period END AS period,
    CASE WHEN counted.judges_year OR counted.in_year > 0 THEN counted.in_year END AS year,
    CASE WHEN counted.of = 'unit' THEN 'units' ELSE 'episodes' END AS unit,
    counted.says AS means,
    CASE
        WHEN counted.judges OR counted.in_period > 0 THEN 'yes'
        WHEN counted.run THEN 'yes, with nothing to judge'
        ELSE 'not run: ' || coalesce(counted.why_not, 'no reason told')
    END AS run,
    CASE WHEN counted.in_period = counted.episodes THEN replace(counted.finding, '_', ' ') ELSE '' END AS counted,
    counted.finding AS rule
FROM counted
ORDER BY counted.finding
-- answer
SELECT
    (SELECT count(DISTINCT safety_dates.episode_id)
        FROM safety_dates
        INNER JOIN period_episodes ON period_episodes.episode_id = safety_dates.episode_id
        WHERE period_episodes.outcome = 'transfused') AS n,
    (SELECT count(*) FROM period_episodes WHERE period_episodes.outcome = 'transfused') AS of,
    (SELECT count(*) FROM rules_run INNER JOIN rules ON rules.finding = rules_run.finding AND rules.severity = 'safety' WHERE NOT rules_run.run) AS not_known,
    (SELECT count(*) FROM points WHERE points.run = 'yes, with nothing to judge') AS idle
