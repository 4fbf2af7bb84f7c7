-- children_marks: How were the episodes of newborns and children marked?
--
-- reads:     year_episodes
-- points:    who: label; Who
--            appropriate: count; Appropriate
--            under_dosed: count; Under-dosed
--            non_bleeding: count; Non-bleeding
--            unsupported: count; Unsupported
--            undetermined: count; Undetermined
--            set_apart: count; Set apart
--            wasted: count; Wasted
--            returned: count; Returned
-- answer:    n: count; Newborns
--            of: count; Episodes of newborns and children
--            not_known: count; Undetermined
--            judged: count; Judged
-- not known: a patient without a birth date is judged as an adult; the clotting limits of adults decide nothing for newborns, so that most of theirs are undetermined
SELECT
    people.who AS who,
    count(*) FILTER (year_episodes.mark = 'appropriate') AS appropriate,
    count(*) FILTER (year_episodes.mark = 'under-dosed') AS under_dosed,
    count(*) FILTER (year_episodes.mark = 'non-bleeding') AS non_bleeding,
    count(*) FILTER (year_episodes.mark = 'unsupported') AS unsupported,
    count(*) FILTER (year_episodes.mark = 'undetermined') AS undetermined,
    count(*) FILTER (year_episodes.mark = 'set-apart') AS set_apart,
    count(*) FILTER (year_episodes.mark = 'wasted') AS wasted,
    count(*) FILTER (year_episodes.mark = 'returned') AS returned
FROM (VALUES (1, 'newborn', 'newborns, under 28 days'), (2, 'child', 'children')) AS people(place, population, who)
LEFT JOIN year_episodes ON year_episodes.population = people.population
GROUP BY people.place, people.who
ORDER BY people.place
-- answer
SELECT
    count(*) FILTER (year_episodes.population = 'newborn') AS n,
    count(*) AS of,
    count(*) FILTER (year_episodes.mark = 'undetermined') AS not_known,
    count(*) FILTER (year_episodes.mark IN ('appropriate', 'under-dosed', 'non-bleeding', 'unsupported')) AS judged
FROM year_episodes
WHERE year_episodes.population IN ('newborn', 'child')
