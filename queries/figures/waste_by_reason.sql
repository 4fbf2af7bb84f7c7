-- waste_by_reason: Why was plasma thrown away?
--
-- reads:     period_bags
-- points:    reason: label; Reason
--            bags: units; Bags
--            avoidable: label; Could practice change it?
-- answer:    n: units; Avoidable
--            of: units; Thrown away
--            not_known: units; Without a reason
-- not known: bags thrown away without a reason are a line of their own. Several bags may be for one patient
SELECT
    -- Bags are counted, not the people whom they were for.
    CASE
        WHEN period_bags.reason = 'patient_died' THEN 'for a patient who died'
        ELSE coalesce(replace(period_bags.reason, '_', ' '), 'no reason recorded')
    END AS reason,
    count(*) AS bags,
    CASE bool_or(period_bags.avoidable) WHEN TRUE THEN 'yes' WHEN FALSE THEN 'no' ELSE 'not known' END AS avoidable
FROM period_bags
WHERE period_bags.fate = 'discarded' AND NOT period_bags.frozen_loss
GROUP BY period_bags.reason
ORDER BY count(*) DESC, period_bags.reason NULLS LAST
-- answer
SELECT
    count(*) FILTER (period_bags.avoidable) AS n,
    count(*) AS of,
    count(*) FILTER (period_bags.reason IS NULL) AS not_known
FROM period_bags
WHERE period_bags.fate = 'discarded' AND NOT period_bags.frozen_loss
