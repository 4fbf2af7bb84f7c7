-- activations: How often was a major haemorrhage declared?
--
-- reads:     haemorrhage_courses, months, period, year_episodes, evidence
-- points:    month: month; Three months to
--            activations: count; Activations
-- answer:    n: count; Stood down
--            of: count; Activations in the year
--            not_known: count; Without the time of the call
--            episodes: count; Plasma episodes set apart as major haemorrhage
--            untold: count; Of these, without any activation
-- means:     activations: three months, of haemorrhage_courses
--            answer n: year, of haemorrhage_courses, stood_down true
--            answer of: year, of haemorrhage_courses
--            answer not_known: year, of haemorrhage_courses, called false
--            answer episodes: year, basis major_haemorrhage
--            answer untold: year, basis major_haemorrhage, activation_told false
-- needs:     activations: events
--            answer n: events
-- hidden:    first
-- not known: a haemorrhage that nobody recorded as an activation, neither as an event nor on a unit
WITH

-- Blocks of three months, counted back from the period's last.
placed AS (
    SELECT
        months.month,
        (row_number() OVER (ORDER BY months.month DESC) - 1) // 3 AS block
    FROM months
),

blocks AS (
    SELECT
        placed.block,
        min(placed.month) AS from_month,
        max(placed.month) AS to_month,
        count(*) AS months
    FROM placed
    GROUP BY placed.block
)

SELECT
    blocks.to_month AS month,
    count(haemorrhage_courses.activation) AS activations
FROM blocks
LEFT JOIN haemorrhage_courses ON haemorrhage_courses.month BETWEEN blocks.from_month AND blocks.to_month
-- A block that the records do not fill would look like a fall.
WHERE blocks.months = 3
GROUP BY blocks.block, blocks.from_month, blocks.to_month
ORDER BY blocks.block DESC
-- answer
SELECT
    count(*) FILTER (haemorrhage_courses.stood_down) AS n,
    count(*) AS of,
    count(*) FILTER (NOT haemorrhage_courses.called) AS not_known,
    (SELECT count(*) FROM year_episodes WHERE year_episodes.basis = 'major_haemorrhage') AS episodes,
    (SELECT count(*) FROM year_episodes WHERE year_episodes.basis = 'major_haemorrhage'
        AND year_episodes.episode_id NOT IN (SELECT evidence.episode_id FROM evidence WHERE evidence.source = 'activation')) AS untold
FROM haemorrhage_courses
INNER JOIN period ON haemorrhage_courses.month BETWEEN period.year_from_month AND period.to_month
