-- tested_after: How often was the effect looked at?
--
-- reads:     all_months, episodes, period_episodes
-- points:    month: month; Month
--            tested: count; Any clotting test after
--            given: count; Episodes given
--            share: share of tested, given; Share
-- answer:    n: count; Any clotting test after
--            of: count; Episodes given
-- means:     tested: month, tested_after true, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage
--            given: month, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage
--            answer n: period, tested_after true, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage
--            answer of: period, outcome transfused, basis not plasma_exchange|circuit_prime|major_haemorrhage
-- needs:     tested: labs
--            answer n: labs
-- not known: a test after is an INR, PT ratio or aPTT ratio collected no later after the end of the plasma than the policy allows (after_h); point of care as the policy has it. Exchanges, circuits and major haemorrhage are left out, as in the finding “no test after”
SELECT
    all_months.month AS month,
    count(*) FILTER (coalesce(episodes.inr_after_at, episodes.pt_ratio_after_at, episodes.aptt_ratio_after_at) IS NOT NULL) AS tested,
    count(episodes.episode_id) AS given,
    CASE WHEN count(episodes.episode_id) > 0
        THEN count(*) FILTER (coalesce(episodes.inr_after_at, episodes.pt_ratio_after_at, episodes.aptt_ratio_after_at) IS NOT NULL) / count(episodes.episode_id) END AS share
FROM all_months
LEFT JOIN episodes
    ON episodes.month = all_months.month
    AND episodes.outcome = 'transfused'
    AND episodes.basis NOT IN ('plasma_exchange', 'circuit_prime', 'major_haemorrhage')
GROUP BY all_months.month
ORDER BY all_months.month
-- answer
SELECT
    count(*) FILTER (coalesce(period_episodes.inr_after_at, period_episodes.pt_ratio_after_at, period_episodes.aptt_ratio_after_at) IS NOT NULL) AS n,
    count(*) AS of
FROM period_episodes
WHERE period_episodes.outcome = 'transfused'
    AND period_episodes.basis NOT IN ('plasma_exchange', 'circuit_prime', 'major_haemorrhage')
