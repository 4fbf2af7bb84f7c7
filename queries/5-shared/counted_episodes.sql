-- counted_episodes: the episodes of the charts' months, with what the figures' means ask of them (what is asked of the year or the period alone is empty before it), and without a month those others that are compared with the last pack.
--
-- reads:     episodes, months, period, units, findings, evidence, judged_again, compared_marks, named_places, policy
WITH

given AS (
    SELECT units.episode_id, bool_or(units.times_basis = 'assumed') AS any_assumed
    FROM units
    CROSS JOIN period
    INNER JOIN episodes ON episodes.episode_id = units.episode_id AND episodes.month BETWEEN period.from_month AND period.to_month
    WHERE units.given
    GROUP BY units.episode_id
),

noticed AS (
    SELECT
        findings.episode_id,
        string_agg(DISTINCT replace(findings.finding, '_', ' '), '|' ORDER BY replace(findings.finding, '_', ' ')) FILTER (findings.severity <> 'safety') AS of_practice,
        string_agg(DISTINCT replace(findings.finding, '_', ' '), '|' ORDER BY replace(findings.finding, '_', ' ')) FILTER (findings.severity = 'safety') AS of_safety,
        bool_or(findings.finding IN ('indication_missing', 'indication_unmapped')) AS unstated
    FROM findings
    CROSS JOIN period
    INNER JOIN episodes ON episodes.episode_id = findings.episode_id AND episodes.month BETWEEN period.from_month AND period.to_month
    GROUP BY findings.episode_id
),

called AS (
    SELECT DISTINCT evidence.episode_id
    FROM evidence
    WHERE evidence.source = 'activation'
),

moved AS (
    SELECT DISTINCT judged_again.episode_id
    FROM judged_again
    WHERE judged_again.changed
),

placed AS (
    SELECT
        episodes.*,
        episodes.month >= period.year_from_month AS in_year,
        episodes.month >= period.from_month AS in_period,
        episodes.units_transfused + CASE WHEN counted.presumed THEN episodes.units_presumed ELSE 0 END AS units_given
    FROM episodes
    INNER JOIN months ON months.month = episodes.month
    CROSS JOIN period
    CROSS JOIN (SELECT bool_and(policy.presumed_is_transfused) AS presumed FROM policy) AS counted
)

SELECT
    placed.episode_id,
    placed.month,
    placed.mark,
    placed.outcome,
    placed.basis,
    placed.dose_band,
    coalesce(placed.inr_after_at, placed.pt_ratio_after_at, placed.aptt_ratio_after_at) IS NOT NULL AS tested_after,
    CASE WHEN placed.in_year THEN placed.because END AS because,
    CASE WHEN placed.in_year THEN placed.population END AS population,
    CASE WHEN placed.in_year THEN placed.weight_kg IS NOT NULL END AS weight_known,
    CASE WHEN placed.in_year THEN placed.dose IS NOT NULL END AS dose_known,
    CASE
        WHEN NOT placed.in_year THEN NULL
        WHEN placed.change_inr IS NULL THEN 'no pair'
        WHEN placed.change_inr < 0 THEN 'lower'
        ELSE 'not lower'
    END AS inr_moved,
    named_places.place,
    named_places.specialty,
    CASE WHEN placed.in_year THEN called.episode_id IS NOT NULL END AS activation_told,
    CASE WHEN placed.in_year THEN moved.episode_id IS NOT NULL END AS mark_hangs,
    CASE WHEN placed.in_period THEN placed.mark_recorded END AS mark_recorded,
    -- As the figure units_given names them.
    CASE
        WHEN NOT placed.in_year THEN NULL
        WHEN placed.units_given >= 8 THEN '8 and more'
        ELSE placed.units_given::VARCHAR
    END AS units,
    -- By these names the figure completeness says what it counts.
    CASE WHEN placed.in_period THEN placed.outcome IN ('transfused', 'unknown') END AS given_or_unknown,
    CASE WHEN placed.in_period THEN placed.outcome = 'transfused' END AS given,
    CASE WHEN placed.in_period THEN placed.outcome = 'transfused' AND given.episode_id IS NOT NULL END AS with_units_given,
    CASE WHEN placed.in_period THEN placed.units_unknown = 0 AND placed.units_presumed = 0 END AS fates_known,
    CASE WHEN placed.in_period THEN coalesce(placed.inr_before_at, placed.pt_ratio_before_at, placed.aptt_ratio_before_at) IS NOT NULL END AS tested_before,
    CASE WHEN placed.in_period THEN placed.basis <> 'not_known' END AS basis_known,
    CASE WHEN placed.in_period THEN NOT coalesce(noticed.unstated, false) END AS indications_told,
    CASE WHEN placed.in_period THEN NOT coalesce(given.any_assumed, false) END AS times_told,
    CASE WHEN placed.in_period THEN noticed.of_safety IS NOT NULL END AS with_safety_finding,
    -- Names of findings, parted by |.
    CASE WHEN placed.in_period THEN noticed.of_practice END AS of_practice,
    CASE WHEN placed.in_period THEN noticed.of_safety END AS of_safety,
    -- Of the last pack, where it is told.
    CASE WHEN compared_marks.was <> compared_marks.now THEN compared_marks.was END AS was,
    CASE WHEN compared_marks.was <> compared_marks.now THEN compared_marks.now END AS now,
    CASE WHEN compared_marks.was <> compared_marks.now THEN compared_marks.why END AS why,
    coalesce(compared_marks.said, false) AS said
FROM placed
LEFT JOIN given ON given.episode_id = placed.episode_id
LEFT JOIN noticed ON noticed.episode_id = placed.episode_id
LEFT JOIN called ON called.episode_id = placed.episode_id
LEFT JOIN moved ON moved.episode_id = placed.episode_id
LEFT JOIN named_places ON named_places.episode_id = placed.episode_id
LEFT JOIN compared_marks ON compared_marks.episode_id = placed.episode_id
UNION ALL BY NAME
SELECT
    compared_marks.episode_id,
    '' AS month,
    CASE WHEN compared_marks.was <> compared_marks.now THEN compared_marks.was END AS was,
    CASE WHEN compared_marks.was <> compared_marks.now THEN compared_marks.now END AS now,
    CASE WHEN compared_marks.was <> compared_marks.now THEN compared_marks.why END AS why,
    compared_marks.said
FROM compared_marks
WHERE compared_marks.episode_id NOT IN (SELECT placed.episode_id FROM placed)
