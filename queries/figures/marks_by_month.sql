-- marks_by_month: How were the episodes marked, month by month?
--
-- reads:     months, episodes, period_episodes
-- points:    month: month; Month
--            episodes: count; Episodes
--            appropriate: count; Appropriate
--            under_dosed: count; Under-dosed
--            non_bleeding: count; Non-bleeding
--            unsupported: count; Unsupported
--            undetermined: count; Undetermined
--            set_apart: count; Set apart
--            wasted: count; Wasted
--            returned: count; Returned
-- answer:    n: count; Judged
--            of: count; Episodes
--            not_known: count; Undetermined
--            set_apart: count; Set apart
--            given: count; Given plasma
-- means:     episodes: month
--            appropriate: month, mark appropriate
--            under_dosed: month, mark under-dosed
--            non_bleeding: month, mark non-bleeding
--            unsupported: month, mark unsupported
--            undetermined: month, mark undetermined
--            set_apart: month, mark set-apart
--            wasted: month, mark wasted
--            returned: month, mark returned
--            answer n: period, mark appropriate|under-dosed|non-bleeding|unsupported
--            answer of: period
--            answer not_known: period, mark undetermined
--            answer set_apart: period, mark set-apart
--            answer given: period, outcome transfused
-- total:     episodes
-- needs:     non_bleeding: bleeding
--            appropriate + under_dosed: dose band
-- not known: undetermined episodes stand beside the judged ones, never among them; nothing was given in those marked wasted or returned
SELECT
    months.month AS month,
    count(episodes.episode_id) AS episodes,
    count(*) FILTER (episodes.mark = 'appropriate') AS appropriate,
    count(*) FILTER (episodes.mark = 'under-dosed') AS under_dosed,
    count(*) FILTER (episodes.mark = 'non-bleeding') AS non_bleeding,
    count(*) FILTER (episodes.mark = 'unsupported') AS unsupported,
    count(*) FILTER (episodes.mark = 'undetermined') AS undetermined,
    count(*) FILTER (episodes.mark = 'set-apart') AS set_apart,
    count(*) FILTER (episodes.mark = 'wasted') AS wasted,
    count(*) FILTER (episodes.mark = 'returned') AS returned
FROM months
LEFT JOIN episodes ON episodes.month = months.month
GROUP BY months.month
ORDER BY months.month
-- answer
SELECT
    count(*) FILTER (period_episodes.mark IN ('appropriate', 'under-dosed', 'non-bleeding', 'unsupported')) AS n,
    count(*) AS of,
    count(*) FILTER (period_episodes.mark = 'undetermined') AS not_known,
    count(*) FILTER (period_episodes.mark = 'set-apart') AS set_apart,
    count(*) FILTER (period_episodes.outcome = 'transfused') AS given
FROM period_episodes
