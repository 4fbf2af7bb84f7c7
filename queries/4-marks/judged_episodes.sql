-- judged_episodes: transfused episodes with the facts that the rules judge.
--
-- reads:     episodes, episode_times, recipients, doses, episode_weights, marked, grounds, medicine_facts, bases
SELECT
    episodes.*,
    episode_times.units_given,
    episode_times.first_requested_at,
    recipients.birth_date_missing,
    recipients.age_years,
    doses.actual_kg,
    doses.adjusted_kg,
    doses.ideal_kg,
    doses.dose_actual,
    doses.dose_adjusted,
    doses.weight_basis_decides,
    episode_weights.only_older,
    episode_weights.older_at,
    marked.over,
    marked.test_too_old,
    marked.reversal,
    marked.reversal_open,
    marked.inr_over_after,
    marked.pt_ratio_over_after,
    grounds.ttp,
    grounds.liver_disease,
    grounds.heart_failure,
    grounds.renal_failure,
    medicine_facts.direct_oral_anticoagulant,
    bases.recorded_bleeding,
    episodes.basis NOT IN ('plasma_exchange', 'circuit_prime', 'major_haemorrhage') AS by_dose
FROM episodes
INNER JOIN episode_times ON episode_times.episode_id = episodes.episode_id
INNER JOIN recipients ON recipients.episode_id = episodes.episode_id
INNER JOIN doses ON doses.episode_id = episodes.episode_id
INNER JOIN marked ON marked.episode_id = episodes.episode_id AND marked.lens = 'all'
INNER JOIN bases ON bases.episode_id = episodes.episode_id AND bases.lens = 'all'
INNER JOIN grounds ON grounds.episode_id = episodes.episode_id
INNER JOIN medicine_facts ON medicine_facts.episode_id = episodes.episode_id
LEFT JOIN episode_weights ON episode_weights.episode_id = episodes.episode_id
WHERE episodes.outcome = 'transfused'
