-- coagulopathies: shown, not shown or not known, by which criteria, and whether every deciding sample is too old to decide.
--
-- reads:     criteria, grounds, recipients, episode_times, laboratory, evidence, policy
WITH first_evidence AS (
    SELECT evidence.episode_id, min(evidence.at) AS at
    FROM evidence
    WHERE evidence.source IN ('event', 'activation')
    GROUP BY evidence.episode_id
),

aged AS (
    SELECT
        criteria.*,
        recipients.population,
        (laboratory.viscoelastic_before_at IS NOT NULL) AS viscoelastic_stands,
        -- A sample is too old if it was taken before what it should judge. What
        -- was told as a date alone is before only where all of its day is.
        coalesce(laboratory.inr_before_through < first_evidence.at, false)
            OR coalesce(laboratory.inr_before_through < grounds.last_procedure_at, false)
            OR coalesce(laboratory.inr_before_through < episode_times.t0 - hours(policy.decides_h), false) AS inr_too_old,
        coalesce(laboratory.pt_ratio_before_through < first_evidence.at, false)
            OR coalesce(laboratory.pt_ratio_before_through < grounds.last_procedure_at, false)
            OR coalesce(laboratory.pt_ratio_before_through < episode_times.t0 - hours(policy.decides_h), false) AS pt_ratio_too_old
    FROM criteria
    INNER JOIN grounds ON grounds.episode_id = criteria.episode_id
    INNER JOIN recipients ON recipients.episode_id = criteria.episode_id
    INNER JOIN episode_times ON episode_times.episode_id = criteria.episode_id
    INNER JOIN policy ON policy.policy_no = criteria.policy_no
    LEFT JOIN laboratory ON laboratory.episode_id = criteria.episode_id
    LEFT JOIN first_evidence ON first_evidence.episode_id = criteria.episode_id
),

stated AS (
    SELECT
        aged.*,
        CASE
            WHEN aged.criterion_inr OR aged.criterion_pt_ratio OR aged.criterion_aptt_ratio OR aged.criterion_viscoelastic OR aged.criterion_fibrinogen THEN 'shown'
            WHEN NOT aged.criterion_inr OR NOT aged.criterion_pt_ratio THEN 'not_shown'
            ELSE 'not_known'
        END AS before_age,
        aged.basis IN ('bleeding', 'bleeding_minor', 'procedure_high', 'procedure')
            AND (aged.criterion_inr IS DISTINCT FROM false OR aged.inr_too_old)
            AND (aged.criterion_pt_ratio IS DISTINCT FROM false OR aged.pt_ratio_too_old) AS samples_too_old
    FROM aged
),

decided AS (
    SELECT
        stated.*,
        CASE
            WHEN stated.population = 'newborn' THEN 'not_known'
            WHEN stated.before_age <> 'not_shown' THEN stated.before_age
            WHEN stated.viscoelastic_stands AND stated.criterion_viscoelastic IS NULL THEN 'not_known'
            WHEN stated.samples_too_old THEN 'not_known'
            ELSE 'not_shown'
        END AS coagulopathy,
        (stated.population <> 'newborn' AND stated.before_age = 'not_shown' AND stated.samples_too_old) AS test_too_old
    FROM stated
)

SELECT
    decided.episode_id,
    decided.lens,
    decided.coagulopathy,
    decided.test_too_old,
    CASE WHEN decided.coagulopathy = 'shown' THEN concat_ws(' ',
        CASE WHEN decided.criterion_inr THEN 'inr' END,
        CASE WHEN decided.criterion_pt_ratio THEN 'pt_ratio' END,
        CASE WHEN decided.criterion_aptt_ratio THEN 'aptt_ratio' END,
        CASE WHEN decided.criterion_viscoelastic THEN 'viscoelastic' END,
        CASE WHEN decided.criterion_fibrinogen THEN 'fibrinogen' END
    ) END AS shown_by
FROM decided
