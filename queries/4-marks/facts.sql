-- facts: for each episode and lens the six words that the decision table reads, and the facts behind them.
--
-- reads:     criteria, coagulopathies, episode_times, doses, grounds, medicine_facts, policy
WITH replaceable AS (
    SELECT
        criteria.*,
        coagulopathies.coagulopathy,
        coagulopathies.shown_by,
        coagulopathies.test_too_old,
        episode_times.outcome,
        episode_times.units_returned,
        episode_times.units_discarded,
        doses.dose_band,
        grounds.reaction_or_death,
        policy.concentrate_stocked,
        policy.fibrinogen_source_stocked,
        (medicine_facts.vitamin_k_antagonist OR grounds.anticoagulant_reversal)
            AND (coalesce(criteria.criterion_inr, false) OR coalesce(criteria.criterion_pt_ratio, false))
            AND NOT medicine_facts.prothrombin_complex AS reversal,
        (medicine_facts.vitamin_k_antagonist OR grounds.anticoagulant_reversal)
            AND criteria.criterion_inr IS NULL AND criteria.criterion_pt_ratio IS NULL
            AND NOT medicine_facts.prothrombin_complex AS reversal_open
    FROM criteria
    INNER JOIN coagulopathies ON coagulopathies.episode_id = criteria.episode_id AND coagulopathies.lens = criteria.lens
    INNER JOIN episode_times ON episode_times.episode_id = criteria.episode_id
    INNER JOIN doses ON doses.episode_id = criteria.episode_id
    INNER JOIN grounds ON grounds.episode_id = criteria.episode_id
    INNER JOIN medicine_facts ON medicine_facts.episode_id = criteria.episode_id
    INNER JOIN policy ON policy.policy_no = criteria.policy_no
)

SELECT
    replaceable.* EXCLUDE (concentrate_stocked, fibrinogen_source_stocked, units_returned, units_discarded, reaction_or_death),
    CASE
        WHEN replaceable.reversal
        THEN CASE replaceable.concentrate_stocked WHEN 'yes' THEN 'stocked' WHEN 'no' THEN 'none' ELSE 'not_stated' END
        WHEN replaceable.shown_by = 'fibrinogen'
        THEN CASE replaceable.fibrinogen_source_stocked WHEN 'yes' THEN 'stocked' WHEN 'no' THEN 'none' ELSE 'not_stated' END
        ELSE 'none'
    END AS alternative,
    CASE
        WHEN replaceable.dose_band <> 'below' THEN 'none'
        WHEN (replaceable.criterion_inr AND NOT replaceable.inr_over_after)
            OR (replaceable.criterion_pt_ratio AND NOT replaceable.pt_ratio_over_after) THEN 'answered'
        WHEN replaceable.reaction_or_death OR replaceable.units_returned + replaceable.units_discarded > 0 THEN 'stopped'
        ELSE 'none'
    END AS course
FROM replaceable
