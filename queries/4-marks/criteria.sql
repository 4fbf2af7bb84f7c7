-- criteria: for each episode and lens the limits that apply and whether each test before is beyond its limit; null is not known.
--
-- reads:     bases, grounds, episode_times, laboratory, medicine_facts, policy
WITH limited AS (
    SELECT
        bases.episode_id,
        bases.lens,
        bases.basis,
        policy.policy_no,
        CASE
            WHEN NOT starts_with(bases.basis, 'procedure') THEN policy.over_bleeding
            WHEN grounds.liver_disease THEN policy.over_liver_procedure
            ELSE policy.over_procedure
        END AS over,
        policy.aptt_ratio_over,
        policy.viscoelastic_over,
        CASE WHEN starts_with(bases.basis, 'procedure') THEN policy.fibrinogen_under_procedure ELSE policy.fibrinogen_under_bleeding END AS fibrinogen_under
    FROM bases
    INNER JOIN grounds ON grounds.episode_id = bases.episode_id
    INNER JOIN episode_times ON episode_times.episode_id = bases.episode_id
    INNER JOIN policy ON policy.policy_no = episode_times.policy_no
),

judged AS (
    SELECT
        limited.*,
        over_limit(laboratory.inr_before, laboratory.inr_before_bound, limited.over) AS criterion_inr,
        over_limit(laboratory.pt_ratio_before, laboratory.pt_ratio_before_bound, limited.over) AS criterion_pt_ratio,
        -- Heparin prolongs the aPTT without a lack of factors.
        CASE WHEN NOT medicine_facts.heparin THEN over_limit(laboratory.aptt_ratio_before, laboratory.aptt_ratio_before_bound, limited.aptt_ratio_over) END AS aptt_ratio_over_limit,
        over_limit(laboratory.viscoelastic_before, laboratory.viscoelastic_before_bound, limited.viscoelastic_over) AS criterion_viscoelastic,
        under_limit(laboratory.fibrinogen_before, laboratory.fibrinogen_before_bound, limited.fibrinogen_under) AS criterion_fibrinogen,
        over_limit(laboratory.inr_after, laboratory.inr_after_bound, limited.over) AS inr_over_after,
        over_limit(laboratory.pt_ratio_after, laboratory.pt_ratio_after_bound, limited.over) AS pt_ratio_over_after,
        medicine_facts.medicines_recorded
    FROM limited
    INNER JOIN medicine_facts ON medicine_facts.episode_id = limited.episode_id
    LEFT JOIN laboratory ON laboratory.episode_id = limited.episode_id
)

SELECT
    judged.* EXCLUDE (aptt_ratio_over_limit, medicines_recorded),
    CASE
        WHEN judged.medicines_recorded OR judged.criterion_inr OR judged.criterion_pt_ratio OR judged.criterion_viscoelastic OR judged.criterion_fibrinogen
        THEN judged.aptt_ratio_over_limit
    END AS criterion_aptt_ratio
FROM judged
