-- expected_changes: the change of INR that the published regression expects of the units given to an adult, unit by unit.
--
-- reads:     episode_times, recipients, laboratory, policy
WITH asked AS (
    SELECT
        episode_times.episode_id,
        laboratory.inr_before,
        policy.expected_inr_slope AS slope,
        policy.expected_inr_offset AS fixed,
        CASE
            WHEN episode_times.outcome = 'transfused'
                AND recipients.population = 'adult'
                AND laboratory.inr_before_bound IS NULL
                AND laboratory.inr_before > policy.expected_inr_offset / policy.expected_inr_slope
            THEN episode_times.units_given
        END AS units
    FROM episode_times
    INNER JOIN recipients ON recipients.episode_id = episode_times.episode_id
    INNER JOIN policy ON policy.policy_no = episode_times.policy_no
    LEFT JOIN laboratory ON laboratory.episode_id = episode_times.episode_id
),

-- Each unit acts on the INR that the one before left; a unit that would be
-- expected to raise it changes nothing.
stepped AS (
    SELECT
        asked.episode_id,
        asked.inr_before,
        list_reduce(
            list_prepend(asked.inr_before, list_transform(range(asked.units), lambda_unit -> asked.inr_before)),
            (inr, unit) -> inr - greatest(0.0, asked.slope * inr - asked.fixed)
        ) AS inr_expected
    FROM asked
    WHERE asked.units IS NOT NULL
)

SELECT
    asked.episode_id,
    round(stepped.inr_expected - stepped.inr_before, 6) AS expected_change_inr
FROM asked
LEFT JOIN stepped ON stepped.episode_id = asked.episode_id
