-- waste_reasons_by_month: Is plasma thrown away for other reasons than before?
--
-- reads:     months, bags, period
-- points:    month: month; Month
--            expired: units; Expired after thaw
--            warm: units; Out of temperature
--            unneeded: units; No longer needed
--            wrong: units; Wrong unit
--            died: units; For a patient who died
--            ready: units; Readiness stock
--            other: units; Damaged, recalled, other
--            no_reason: units; No reason recorded
-- answer:    n: units; Avoidable, in the period
--            of: units; Thrown away in the period
--            not_known: units; Without a reason in the period
--            before: units; Thrown away in the months before
--            before_avoidable: units; Of these avoidable
-- not known: all numbers are bags, of which several may be for one patient; those without a reason are a part of their own, and frozen losses are left out
WITH

lost AS (
    SELECT bags.month, bags.reason, bags.avoidable
    FROM bags
    WHERE bags.fate = 'discarded' AND NOT bags.frozen_loss
)

SELECT
    months.month AS month,
    count(*) FILTER (lost.reason = 'expired_after_thaw') AS expired,
    count(*) FILTER (lost.reason = 'out_of_temperature') AS warm,
    count(*) FILTER (lost.reason = 'no_longer_needed') AS unneeded,
    count(*) FILTER (lost.reason = 'wrong_unit') AS wrong,
    count(*) FILTER (lost.reason = 'patient_died') AS died,
    count(*) FILTER (lost.reason = 'readiness_stock') AS ready,
    count(*) FILTER (lost.reason IN ('damaged', 'recall', 'other')) AS other,
    count(*) FILTER (lost.month IS NOT NULL AND lost.reason IS NULL) AS no_reason
FROM months
LEFT JOIN lost ON lost.month = months.month
GROUP BY months.month
ORDER BY months.month
-- answer
SELECT
    count(*) FILTER (bags.avoidable AND bags.month >= period.from_month) AS n,
    count(*) FILTER (bags.month >= period.from_month) AS of,
    count(*) FILTER (bags.reason IS NULL AND bags.month >= period.from_month) AS not_known,
    -- Where no month lies before there is nothing that was not thrown away in it.
    CASE WHEN (SELECT period.history_from_month < period.from_month FROM period) THEN count(*) FILTER (bags.month < period.from_month) END AS before,
    CASE WHEN (SELECT period.history_from_month < period.from_month FROM period) THEN count(*) FILTER (bags.avoidable AND bags.month < period.from_month) END AS before_avoidable
FROM bags
CROSS JOIN period
WHERE bags.fate = 'discarded' AND NOT bags.frozen_loss
    AND bags.month BETWEEN period.history_from_month AND period.to_month
