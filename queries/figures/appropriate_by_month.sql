-- appropriate_by_month: Is the share of appropriate episodes changing?
--
-- reads:     all_months, episodes, period_episodes
-- points:    month: month; Month
--            appropriate: count; Appropriate
--            judged: count; Judged
--            share: share of appropriate, judged; Share
-- answer:    n: count; Appropriate
--            of: count; Judged
--            not_known: count; Undetermined
--            recorded: count; Appropriate if inferred bleeding is left out
--            recorded_of: count; Judged if inferred bleeding is left out
--            recorded_share: share of recorded, recorded_of; Share if inferred bleeding is left out
--            if_none: share of n, of, not_known; Share if no undetermined episode were appropriate
--            if_all: share of n, of, not_known; Share if every undetermined episode were appropriate
-- means:     appropriate: month, mark appropriate
--            judged: month, mark appropriate|under-dosed|non-bleeding|unsupported
--            answer n: period, mark appropriate
--            answer of: period, mark appropriate|under-dosed|non-bleeding|unsupported
--            answer not_known: period, mark undetermined
--            answer recorded: period, mark_recorded appropriate
--            answer recorded_of: period, mark_recorded appropriate|under-dosed|non-bleeding|unsupported
-- needs:     appropriate + share: dose band
--            answer n + recorded + recorded_share + if_none: dose band
-- hidden:    last
-- not known: undetermined episodes are in neither number
SELECT
    all_months.month AS month,
    count(*) FILTER (episodes.mark = 'appropriate') AS appropriate,
    count(episodes.mark) AS judged,
    CASE WHEN count(episodes.mark) > 0 THEN count(*) FILTER (episodes.mark = 'appropriate') / count(episodes.mark) END AS share
FROM all_months
LEFT JOIN episodes
    ON episodes.month = all_months.month
    AND episodes.mark IN ('appropriate', 'under-dosed', 'non-bleeding', 'unsupported')
GROUP BY all_months.month
ORDER BY all_months.month
-- answer
SELECT
    counted.*,
    CASE WHEN counted.recorded_of > 0 THEN counted.recorded / counted.recorded_of END AS recorded_share,
    CASE WHEN counted.of + counted.not_known > 0 THEN counted.n / (counted.of + counted.not_known) END AS if_none,
    CASE WHEN counted.of + counted.not_known > 0 THEN (counted.n + counted.not_known) / (counted.of + counted.not_known) END AS if_all
FROM (
    SELECT
        count(*) FILTER (period_episodes.mark = 'appropriate') AS n,
        count(*) FILTER (period_episodes.mark IN ('appropriate', 'under-dosed', 'non-bleeding', 'unsupported')) AS of,
        count(*) FILTER (period_episodes.mark = 'undetermined') AS not_known,
        count(*) FILTER (period_episodes.mark_recorded = 'appropriate') AS recorded,
        count(*) FILTER (period_episodes.mark_recorded IN ('appropriate', 'under-dosed', 'non-bleeding', 'unsupported')) AS recorded_of
    FROM period_episodes
) AS counted
