-- rare_findings: the safety findings of rules that ran, each with fewer than one a month of those shown: of these the days between are looked at, not the counts.
--
-- reads:     rules, rules_run, safety_dates, months
SELECT rules_run.finding
FROM rules_run
INNER JOIN rules ON rules.finding = rules_run.finding AND rules.severity = 'safety'
WHERE rules_run.run
    AND (SELECT count(*) FROM safety_dates INNER JOIN months ON months.month = safety_dates.month WHERE safety_dates.finding = rules_run.finding)
        < (SELECT count(*) FROM months)
