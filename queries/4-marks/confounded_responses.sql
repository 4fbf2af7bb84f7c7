-- confounded_responses: for each episode and test with both results, whether another product that acts on it was given in between.
--
-- reads:     episode_times, laboratory, medicine_spans, component_units
WITH pairs AS (
    SELECT laboratory.episode_id, 'inr' AS test, laboratory.inr_before_at AS before_at, laboratory.inr_after_at AS after_at FROM laboratory
    UNION ALL
    SELECT laboratory.episode_id, 'pt_ratio', laboratory.pt_ratio_before_at, laboratory.pt_ratio_after_at FROM laboratory
    UNION ALL
    SELECT laboratory.episode_id, 'aptt_ratio', laboratory.aptt_ratio_before_at, laboratory.aptt_ratio_after_at FROM laboratory
    UNION ALL
    SELECT laboratory.episode_id, 'fibrinogen', laboratory.fibrinogen_before_at, laboratory.fibrinogen_after_at FROM laboratory
),

paired_results AS (
    SELECT
        pairs.*,
        episode_times.patient_id
    FROM pairs
    INNER JOIN episode_times ON episode_times.episode_id = pairs.episode_id
    WHERE pairs.before_at IS NOT NULL AND pairs.after_at IS NOT NULL
),

others AS (
    SELECT paired_results.episode_id, paired_results.test
    FROM paired_results
    -- Vitamin K acts for hours after it was given.
    INNER JOIN medicine_spans
        ON medicine_spans.patient_id = paired_results.patient_id
        AND medicine_spans.medicine IN ('prothrombin_complex', 'fibrinogen_concentrate', 'vitamin_k')
        AND medicine_spans.given_at <= paired_results.after_at
        AND medicine_spans.given_through >= paired_results.before_at - CASE WHEN medicine_spans.medicine = 'vitamin_k' THEN hours(12) ELSE hours(0) END
    UNION
    SELECT paired_results.episode_id, paired_results.test
    FROM paired_results
    INNER JOIN component_units
        ON component_units.patient_id = paired_results.patient_id
        AND component_units.component = 'cryoprecipitate'
        AND component_units.given
        AND component_units.begin <= paired_results.after_at
        AND component_units.finish >= paired_results.before_at
)

SELECT
    paired_results.episode_id,
    paired_results.test,
    (others.episode_id IS NOT NULL) AS confounded
FROM paired_results
LEFT JOIN others ON others.episode_id = paired_results.episode_id AND others.test = paired_results.test
