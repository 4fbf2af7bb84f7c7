-- weight_basis_decides: the dose band by actual and by adjusted weight differ in an adult well over the ideal weight.
--
-- of:        episode
-- needs:     measures
-- reads:     judged_episodes
-- fires:     actual weight over 1.2 × ideal, and the bands differ
-- not known: the weight is not known
-- severity:  data
-- source:    from memory: adjusted weight counts two fifths of the excess
SELECT
    judged_episodes.episode_id AS key,
    judged_episodes.episode_id,
    CASE
        WHEN judged_episodes.weight_basis_decides IS NULL THEN 'not_known'
        WHEN judged_episodes.weight_basis_decides THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_episodes.actual_kg,
    judged_episodes.adjusted_kg,
    judged_episodes.ideal_kg,
    judged_episodes.dose_actual,
    judged_episodes.dose_adjusted
FROM judged_episodes
WHERE judged_episodes.population = 'adult' AND judged_episodes.ideal_kg IS NOT NULL
