-- other_products: What was given beside plasma?
--
-- reads:     months, component_months, local_days, medicines, period
-- points:    month: month; Month
--            cryoprecipitate: units; Cryoprecipitate, units
--            prothrombin: units; Prothrombin complex, doses
--            fibrinogen: units; Fibrinogen concentrate, doses
--            vitamin_k: units; Vitamin K, doses
-- answer:    cryoprecipitate: units; Cryoprecipitate units given
--            prothrombin: units; Doses of prothrombin complex
--            fibrinogen: units; Doses of fibrinogen concentrate
--            vitamin_k: units; Doses of vitamin K
--            of: units; Units and doses in all, over the months shown
-- not known: doses of months in which the medicines feed has no row at all; what has no row in any month shown may be given and not recorded, or not mapped by the site: it is a dash, not 0
WITH

doses AS (
    SELECT
        strftime(local_days.day, '%Y-%m') AS month,
        count(*) FILTER (medicines.medicine = 'prothrombin_complex') AS prothrombin,
        count(*) FILTER (medicines.medicine = 'fibrinogen_concentrate') AS fibrinogen,
        count(*) FILTER (medicines.medicine = 'vitamin_k') AS vitamin_k
    FROM medicines
    CROSS JOIN period
    ASOF INNER JOIN local_days ON medicines.given_at >= local_days.starts_at
    WHERE medicines.given_at >= strptime(period.history_from_month, '%Y-%m') - INTERVAL 1 DAY
    GROUP BY strftime(local_days.day, '%Y-%m')
),

cryo AS (
    SELECT component_months.month, component_months.given
    FROM component_months
    WHERE component_months.component = 'cryoprecipitate'
)

-- What no month shown has a row of may be given and not recorded.
SELECT
    months.month AS month,
    CASE WHEN (SELECT count(*) FROM cryo) > 0 THEN coalesce(cryo.given, 0) END AS cryoprecipitate,
    CASE WHEN (SELECT sum(doses.prothrombin) FROM doses) > 0 THEN doses.prothrombin END AS prothrombin,
    CASE WHEN (SELECT sum(doses.fibrinogen) FROM doses) > 0 THEN doses.fibrinogen END AS fibrinogen,
    CASE WHEN (SELECT sum(doses.vitamin_k) FROM doses) > 0 THEN doses.vitamin_k END AS vitamin_k
FROM months
LEFT JOIN cryo ON cryo.month = months.month
LEFT JOIN doses ON doses.month = months.month
ORDER BY months.month
-- answer
SELECT
    sum(points.cryoprecipitate) FILTER (points.month >= period.from_month)::BIGINT AS cryoprecipitate,
    sum(points.prothrombin) FILTER (points.month >= period.from_month)::BIGINT AS prothrombin,
    sum(points.fibrinogen) FILTER (points.month >= period.from_month)::BIGINT AS fibrinogen,
    sum(points.vitamin_k) FILTER (points.month >= period.from_month)::BIGINT AS vitamin_k,
    coalesce(sum(coalesce(points.cryoprecipitate, 0) + coalesce(points.prothrombin, 0) + coalesce(points.fibrinogen, 0) + coalesce(points.vitamin_k, 0)), 0)::BIGINT AS of
FROM points
CROSS JOIN period
