-- completeness: Are the records that a mark needs there?
--
-- reads:     period_episodes, units, findings
-- points:    input: label; What a mark needs
--            known: count; Known
--            of: count; Of episodes
--            share: share of known, of; Share known
--            among: key; Of which episodes
--            fact: key; What is known of them
-- answer:    n: count; Episodes marked undetermined
--            of: count; Episodes in which plasma was given, or whose fate is not known
--            not_known: count; Undetermined
-- means:     known: period, @among true, @fact true
--            of: period, @among true
--            answer n: period, mark undetermined, outcome transfused|unknown
--            answer of: period, outcome transfused|unknown
--            answer not_known: period, mark undetermined, outcome transfused|unknown
-- adds up:   no
-- not known: whether an episode of unknown fate was given cannot be said: it counts for the fate, and for nothing else. A unit that is presumed given has no final fate
SELECT
    inputs.input AS input,
    inputs.known AS known,
    inputs.of AS of,
    CASE WHEN inputs.of > 0 THEN inputs.known / inputs.of END AS share,
    inputs.among AS among,
    inputs.fact AS fact
FROM (
    SELECT 1 AS place, 'final fate of every unit' AS input, count(*) FILTER (period_episodes.units_unknown = 0 AND period_episodes.units_presumed = 0) AS known, count(*) AS of, 'given_or_unknown' AS among, 'fates_known' AS fact
    FROM period_episodes WHERE period_episodes.outcome IN ('transfused', 'unknown')
    UNION ALL
    SELECT 2, 'weight', count(*) FILTER (period_episodes.weight_kg IS NOT NULL), count(*), 'given', 'weight_known'
    FROM period_episodes WHERE period_episodes.outcome = 'transfused'
    UNION ALL
    SELECT 3, 'clotting test before', count(*) FILTER (coalesce(period_episodes.inr_before_at, period_episodes.pt_ratio_before_at, period_episodes.aptt_ratio_before_at) IS NOT NULL), count(*), 'given', 'tested_before'
    FROM period_episodes WHERE period_episodes.outcome = 'transfused'
    UNION ALL
    SELECT 4, 'clotting test after', count(*) FILTER (coalesce(period_episodes.inr_after_at, period_episodes.pt_ratio_after_at, period_episodes.aptt_ratio_after_at) IS NOT NULL), count(*), 'given', 'tested_after'
    FROM period_episodes WHERE period_episodes.outcome = 'transfused'
    UNION ALL
    SELECT 5, 'why it was used (bleeding, procedure, or none found)', count(*) FILTER (period_episodes.basis <> 'not_known'), count(*), 'given', 'basis_known'
    FROM period_episodes WHERE period_episodes.outcome = 'transfused'
    UNION ALL
    SELECT 6, 'indication of every unit', count(*) FILTER (unstated.episode_id IS NULL), count(*), 'given', 'indications_told'
    FROM period_episodes
    LEFT JOIN (
        SELECT DISTINCT findings.episode_id
        FROM findings WHERE findings.finding IN ('indication_missing', 'indication_unmapped')
    ) AS unstated ON unstated.episode_id = period_episodes.episode_id
    WHERE period_episodes.outcome = 'transfused'
    UNION ALL
    SELECT 7, 'start and end of every unit given', count(*) FILTER (NOT assumed.any_assumed), count(*), 'with_units_given', 'times_told'
    FROM period_episodes
    INNER JOIN (
        SELECT units.episode_id, bool_or(units.times_basis = 'assumed') AS any_assumed
        FROM units WHERE units.given GROUP BY units.episode_id
    ) AS assumed ON assumed.episode_id = period_episodes.episode_id
    WHERE period_episodes.outcome = 'transfused'
) AS inputs
ORDER BY inputs.place
-- answer
SELECT
    count(*) FILTER (period_episodes.mark = 'undetermined') AS n,
    count(*) AS of,
    count(*) FILTER (period_episodes.mark = 'undetermined') AS not_known
FROM period_episodes
WHERE period_episodes.outcome IN ('transfused', 'unknown')
