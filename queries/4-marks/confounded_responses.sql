-- confounded_responses: for each episode and test with both results, whether another product that acts on it was given in between.
--
-- reads:     episodes, medicine_spans, component_units
WITH pairs AS (
    SELECT episodes.episode_id, episodes.patient_id, 'inr' AS test, episodes.inr_before_at AS before_at, episodes.inr_after_at AS after_at FROM episodes
    UNION ALL
    SELECT episodes.episode_id, episodes.patient_id, 'pt_ratio', episodes.pt_ratio_before_at, episodes.pt_ratio_after_at FROM episodes
    UNION ALL
    SELECT episodes.episode_id, episodes.patient_id, 'aptt_ratio', episodes.aptt_ratio_before_at, episodes.aptt_ratio_after_at FROM episodes
    UNION ALL
    SELECT episodes.episode_id, episodes.patient_id, 'fibrinogen', episodes.fibrinogen_before_at, episodes.fibrinogen_after_at FROM episodes
),

both AS (
    SELECT pairs.*
    FROM pairs
    WHERE pairs.before_at IS NOT NULL AND pairs.after_at IS NOT NULL
),

others AS (
    SELECT both.episode_id, both.test
    FROM both
    -- Vitamin K acts for hours after it was given.
    INNER JOIN medicine_spans
        ON medicine_spans.patient_id = both.patient_id
        AND medicine_spans.medicine IN ('prothrombin_complex', 'fibrinogen_concentrate', 'vitamin_k')
        AND medicine_spans.given_at <= both.after_at
        AND medicine_spans.given_through >= both.before_at - CASE WHEN medicine_spans.medicine = 'vitamin_k' THEN hours(12) ELSE hours(0) END
    UNION
    SELECT both.episode_id, both.test
    FROM both
    INNER JOIN component_units
        ON component_units.patient_id = both.patient_id
        AND component_units.component = 'cryoprecipitate'
        AND component_units.given
        AND component_units.begin <= both.after_at
        AND component_units.finish >= both.before_at
)

SELECT
    both.episode_id,
    both.test,
    (others.episode_id IS NOT NULL) AS confounded
FROM both
LEFT JOIN others ON others.episode_id = both.episode_id AND others.test = both.test
