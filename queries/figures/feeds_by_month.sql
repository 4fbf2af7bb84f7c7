-- feeds_by_month: Did every feed send its records, month by month?
--
-- reads:     months, local_days, issues, bedside, labs, measures, events, medicines, activity, period
-- points:    month: month; Month
--            issues: units; Issues
--            bedside: units; Bedside
--            labs: units; Labs
--            measures: units; Measures
--            bleeding: units; Events: bleeding
--            procedures: units; Procedures
--            events: units; Others
--            medicines: units; Medicines
--            activity: units; Activity
-- answer:    n: units; Feed-months without any row
--            of: units; Feed-months of the feeds that have rows
--            missing: dated; The feeds and months without a row
--            thin: dated; The feeds and months with under half of their usual rows
--            absent: label; The feeds without any row
-- not known: events are parted by kind, since they often come from several systems. A feed without any row in these months is a dash: the site does not have it, or it was not read. A row told again counts once, and rows that were rejected or set aside have no month: so the months hold fewer rows than were read
WITH

-- The last instant of each month on the hospital's clock, and of the month before
-- the first.
month_ends AS (
    SELECT strftime(local_days.day, '%Y-%m') AS month, max(local_days.ends_at) AS ends_at
    FROM local_days
    WHERE local_days.day >= (SELECT CAST(min(months.month) || '-01' AS DATE) - 1 FROM months)
        AND local_days.day <= (SELECT last_day(CAST(max(months.month) || '-01' AS DATE)) FROM months)
    GROUP BY strftime(local_days.day, '%Y-%m')
),

ends AS (
    SELECT list(month_ends.ends_at ORDER BY month_ends.ends_at) AS of_months
    FROM month_ends
),

-- Rows are many: each is put between two ends as it is read. histogram() counts, by
-- each end, what lies after the end before it.
by_end AS (
    SELECT 'issues' AS feed, histogram(coalesce(issues.issued_at, issues.discarded_at, issues.thawed_at), (SELECT ends.of_months FROM ends)) AS rows_by_end
    FROM issues
    UNION ALL
    SELECT 'bedside', histogram(bedside.started_at, (SELECT ends.of_months FROM ends))
    FROM bedside
    UNION ALL
    SELECT 'labs', histogram(labs.collected_at, (SELECT ends.of_months FROM ends))
    FROM labs
    -- A ratio that was made from a time is no row of the feed.
    WHERE labs.derived_from IS NULL
    UNION ALL
    SELECT 'measures', histogram(measures.measured_at, (SELECT ends.of_months FROM ends))
    FROM measures
    UNION ALL
    SELECT CASE events.kind WHEN 'bleeding' THEN 'bleeding' WHEN 'procedure' THEN 'procedures' ELSE 'events' END AS feed, histogram(events.at, (SELECT ends.of_months FROM ends))
    FROM events
    GROUP BY feed
    UNION ALL
    SELECT 'medicines', histogram(medicines.given_at, (SELECT ends.of_months FROM ends))
    FROM medicines
),

entries AS (
    SELECT by_end.feed, unnest(map_entries(by_end.rows_by_end)) AS entry
    FROM by_end
),

counted AS MATERIALIZED (
    SELECT month_ends.month, entries.feed, entries.entry.value::BIGINT AS n
    FROM entries
    INNER JOIN month_ends ON month_ends.ends_at = entries.entry.key
    WHERE entries.entry.value > 0
    UNION ALL
    SELECT activity.month, 'activity', count(*)
    FROM activity
    INNER JOIN months ON months.month = activity.month
    GROUP BY activity.month
),

feeds AS (
    SELECT DISTINCT counted.feed
    FROM counted
    INNER JOIN months ON months.month = counted.month
)

SELECT
    months.month AS month,
    CASE WHEN bool_or(feeds.feed = 'issues') THEN coalesce(sum(counted.n) FILTER (feeds.feed = 'issues'), 0)::BIGINT END AS issues,
    CASE WHEN bool_or(feeds.feed = 'bedside') THEN coalesce(sum(counted.n) FILTER (feeds.feed = 'bedside'), 0)::BIGINT END AS bedside,
    CASE WHEN bool_or(feeds.feed = 'labs') THEN coalesce(sum(counted.n) FILTER (feeds.feed = 'labs'), 0)::BIGINT END AS labs,
    CASE WHEN bool_or(feeds.feed = 'measures') THEN coalesce(sum(counted.n) FILTER (feeds.feed = 'measures'), 0)::BIGINT END AS measures,
    CASE WHEN bool_or(feeds.feed = 'bleeding') THEN coalesce(sum(counted.n) FILTER (feeds.feed = 'bleeding'), 0)::BIGINT END AS bleeding,
    CASE WHEN bool_or(feeds.feed = 'procedures') THEN coalesce(sum(counted.n) FILTER (feeds.feed = 'procedures'), 0)::BIGINT END AS procedures,
    CASE WHEN bool_or(feeds.feed = 'events') THEN coalesce(sum(counted.n) FILTER (feeds.feed = 'events'), 0)::BIGINT END AS events,
    CASE WHEN bool_or(feeds.feed = 'medicines') THEN coalesce(sum(counted.n) FILTER (feeds.feed = 'medicines'), 0)::BIGINT END AS medicines,
    CASE WHEN bool_or(feeds.feed = 'activity') THEN coalesce(sum(counted.n) FILTER (feeds.feed = 'activity'), 0)::BIGINT END AS activity
FROM months
LEFT JOIN feeds ON true
LEFT JOIN counted ON counted.month = months.month AND counted.feed = feeds.feed
GROUP BY months.month
ORDER BY months.month
-- answer
WITH

cells AS (
    UNPIVOT (SELECT points.* FROM points) ON issues, bedside, labs, measures, bleeding, procedures, events, medicines, activity INTO NAME feed VALUE n
),

judged AS (
    SELECT
        cells.feed,
        cells.month,
        cells.n,
        cells.n > 0 AND 2 * cells.n < median(cells.n) OVER (PARTITION BY cells.feed) AS thin
    FROM cells
),

-- A month in which every feed lacks is one entry.
lacking AS (
    SELECT
        judged.n = 0 AS without,
        judged.month,
        CASE
            WHEN judged.n = 0 AND count(*) FILTER (judged.n = 0) OVER (PARTITION BY judged.month) = (SELECT count(DISTINCT judged.feed) FROM judged) THEN 'every feed'
            WHEN judged.feed = 'events' THEN 'other events'
            ELSE judged.feed
        END AS feed
    FROM judged
    WHERE judged.n = 0 OR judged.thin
),

-- The latest first: of a long list the pack names those.
named AS (
    SELECT
        lacking.without,
        lacking.feed || ' ' || lacking.month AS entry,
        row_number() OVER (PARTITION BY lacking.without ORDER BY lacking.month DESC, lacking.feed) AS place
    FROM (SELECT DISTINCT lacking.without, lacking.month, lacking.feed FROM lacking) AS lacking
),

listed AS (
    SELECT
        named.without,
        string_agg(named.entry, ', ' ORDER BY named.place) AS entries
    FROM named
    GROUP BY named.without
)

SELECT
    count(*) FILTER (judged.n = 0) AS n,
    count(*) AS of,
    (SELECT listed.entries FROM listed WHERE listed.without) AS missing,
    (SELECT listed.entries FROM listed WHERE NOT listed.without) AS thin,
    (SELECT string_agg(feeds.feed, ', ' ORDER BY feeds.place)
        FROM (VALUES (1, 'issues'), (2, 'bedside'), (3, 'labs'), (4, 'measures'), (5, 'bleeding'), (6, 'procedures'), (7, 'other events'), (8, 'medicines'), (9, 'activity')) AS feeds(place, feed)
        WHERE replace(feeds.feed, 'other events', 'events') NOT IN (SELECT judged.feed FROM judged)) AS absent
FROM judged
