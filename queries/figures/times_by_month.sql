-- times_by_month: Are the steps getting faster or slower?
--
-- reads:     months, plasma_spans, period
-- points:    month: month; Month
--            units: units; Units issued
--            request: number; Request to issue, min
--            thaw: number; Thaw to issue, min
--            start: number; Issue to start, min
--            finish: number; Storage to end, min
-- answer:    n: units; Units with the time of their request
--            of: units; Units issued
--            not_known: units; Without it
--            now: number; Median of the period, min
--            before: number; Median of the months before, min
-- not known: each line is the median of the units with both times
SELECT
    months.month AS month,
    count(plasma_spans.month) AS units,
    round(median(plasma_spans.request_to_issue), 1) AS request,
    round(median(plasma_spans.thaw_to_issue), 1) AS thaw,
    round(median(plasma_spans.issue_to_start) FILTER (plasma_spans.given), 1) AS start,
    round(median(plasma_spans.storage_to_end) FILTER (plasma_spans.given), 1) AS finish
FROM months
LEFT JOIN plasma_spans ON plasma_spans.month = months.month
GROUP BY months.month
ORDER BY months.month
-- answer
SELECT
    count(plasma_spans.request_to_issue) FILTER (plasma_spans.month >= period.from_month) AS n,
    count(*) FILTER (plasma_spans.month >= period.from_month) AS of,
    count(*) FILTER (plasma_spans.month >= period.from_month AND plasma_spans.request_to_issue IS NULL) AS not_known,
    round(median(plasma_spans.request_to_issue) FILTER (plasma_spans.month >= period.from_month), 0) AS now,
    round(median(plasma_spans.request_to_issue) FILTER (plasma_spans.month < period.from_month), 0) AS before
FROM plasma_spans
CROSS JOIN period
