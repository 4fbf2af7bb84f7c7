-- doses: dose and dose band of each episode by the weight that the policy names, and whether the choice of weight decides the band.
--
-- reads:     episode_times, recipients, episode_weights, policy, building
WITH weighed AS (
    SELECT
        episode_times.episode_id,
        episode_times.policy_no,
        episode_times.outcome,
        episode_times.delivered_ml,
        episode_times.possible_ml,
        episode_times.units_given,
        episode_times.newborn_volume_unknown,
        recipients.population,
        CAST(episode_weights.actual_kg AS DECIMAL(18, 3)) AS actual_kg,
        episode_weights.weight_at,
        CASE WHEN recipients.population = 'adult' THEN devine_kg(recipients.sex, recipients.height_cm) END AS ideal_kg,
        -- The ideal or adjusted weight is an adult's; a child is dosed by its own.
        CASE WHEN recipients.population = 'adult' THEN building.weight_basis ELSE 'actual' END AS weight_basis
    FROM episode_times
    INNER JOIN recipients ON recipients.episode_id = episode_times.episode_id
    LEFT JOIN episode_weights ON episode_weights.episode_id = episode_times.episode_id
    CROSS JOIN building
),

adjusted AS (
    SELECT
        weighed.*,
        -- Two fifths of what is over the ideal weight counts (common practice).
        CAST(weighed.ideal_kg + 0.4 * (CAST(weighed.actual_kg AS DOUBLE) - weighed.ideal_kg) AS DECIMAL(18, 3)) AS adjusted_kg
    FROM weighed
),

chosen AS (
    SELECT
        adjusted.*,
        CASE adjusted.weight_basis
            WHEN 'adjusted' THEN adjusted.adjusted_kg
            WHEN 'ideal' THEN CAST(adjusted.ideal_kg AS DECIMAL(18, 3))
            ELSE adjusted.actual_kg
        END AS weight_kg,
        (adjusted.outcome = 'transfused' AND NOT (adjusted.population = 'newborn' AND adjusted.newborn_volume_unknown)) AS dosed,
        CASE WHEN adjusted.population = 'adult' THEN policy.dose_low ELSE policy.child_dose_low END AS low,
        round(CASE WHEN adjusted.population = 'adult' THEN policy.dose_low ELSE policy.child_dose_low END - policy.dose_tolerance, 6) AS below_under,
        round(CASE WHEN adjusted.population = 'adult' THEN policy.dose_high ELSE policy.child_dose_high END + policy.dose_tolerance, 6) AS above_over,
        coalesce(adjusted.units_given >= policy.full_dose_units, false) AS full_dose
    FROM adjusted
    INNER JOIN policy ON policy.policy_no = adjusted.policy_no
),

-- The dose by the policy's weight, and by actual and adjusted weight, of what
-- was given and of what may have been.
divided AS (
    SELECT
        chosen.*,
        CASE WHEN chosen.dosed THEN round(CAST(chosen.delivered_ml AS DOUBLE) / CAST(chosen.weight_kg AS DOUBLE), 6) END AS dose,
        CASE WHEN chosen.dosed THEN round(CAST(chosen.possible_ml AS DOUBLE) / CAST(chosen.weight_kg AS DOUBLE), 6) END AS dose_possible,
        CASE WHEN chosen.dosed THEN round(CAST(chosen.delivered_ml AS DOUBLE) / CAST(chosen.actual_kg AS DOUBLE), 6) END AS dose_actual,
        CASE WHEN chosen.dosed THEN round(CAST(chosen.possible_ml AS DOUBLE) / CAST(chosen.actual_kg AS DOUBLE), 6) END AS possible_actual,
        CASE WHEN chosen.dosed THEN round(CAST(chosen.delivered_ml AS DOUBLE) / CAST(chosen.adjusted_kg AS DOUBLE), 6) END AS dose_adjusted,
        CASE WHEN chosen.dosed THEN round(CAST(chosen.possible_ml AS DOUBLE) / CAST(chosen.adjusted_kg AS DOUBLE), 6) END AS possible_adjusted
    FROM chosen
),

banded AS (
    SELECT
        divided.*,
        CASE WHEN divided.dose > divided.above_over THEN 'above' WHEN divided.dose < divided.below_under AND NOT divided.full_dose THEN 'below' WHEN divided.dose IS NOT NULL THEN 'within' END AS band,
        CASE WHEN divided.dose_possible > divided.above_over THEN 'above' WHEN divided.dose_possible < divided.below_under AND NOT divided.full_dose THEN 'below' WHEN divided.dose_possible IS NOT NULL THEN 'within' END AS band_possible,
        CASE WHEN divided.dose_actual > divided.above_over THEN 'above' WHEN divided.dose_actual < divided.below_under AND NOT divided.full_dose THEN 'below' WHEN divided.dose_actual IS NOT NULL THEN 'within' END AS band_actual,
        CASE WHEN divided.possible_actual > divided.above_over THEN 'above' WHEN divided.possible_actual < divided.below_under AND NOT divided.full_dose THEN 'below' WHEN divided.possible_actual IS NOT NULL THEN 'within' END AS band_possible_actual,
        CASE WHEN divided.dose_adjusted > divided.above_over THEN 'above' WHEN divided.dose_adjusted < divided.below_under AND NOT divided.full_dose THEN 'below' WHEN divided.dose_adjusted IS NOT NULL THEN 'within' END AS band_adjusted,
        CASE WHEN divided.possible_adjusted > divided.above_over THEN 'above' WHEN divided.possible_adjusted < divided.below_under AND NOT divided.full_dose THEN 'below' WHEN divided.possible_adjusted IS NOT NULL THEN 'within' END AS band_possible_adjusted
    FROM divided
),

-- Asked only where an ideal weight is known and well under the actual one.
decided AS (
    SELECT
        banded.*,
        CASE
            WHEN banded.dose_actual IS NULL OR banded.ideal_kg IS NULL THEN NULL
            ELSE CAST(banded.actual_kg AS DOUBLE) > 1.2 * banded.ideal_kg
                AND (banded.band_actual <> banded.band_adjusted OR banded.band_possible_actual <> banded.band_possible_adjusted)
        END AS weight_basis_decides
    FROM banded
)

SELECT
    decided.episode_id,
    decided.weight_kg,
    decided.weight_at,
    decided.actual_kg,
    decided.adjusted_kg,
    decided.ideal_kg,
    decided.dose,
    decided.dose_possible,
    decided.dose_actual,
    decided.dose_adjusted,
    decided.low,
    decided.weight_basis_decides,
    CASE
        WHEN decided.band IS NULL OR decided.band <> decided.band_possible OR coalesce(decided.weight_basis_decides, false) THEN 'not_known'
        ELSE decided.band
    END AS dose_band
FROM decided
