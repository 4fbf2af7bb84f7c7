-- children_marks: How were the episodes of newborns and children marked?
--
-- reads:     year_episodes
-- points:    population: label; Who
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
-- means:     appropriate: year, mark appropriate, by population
--            under_dosed: year, mark under-dosed, by population
--            non_bleeding: year, mark non-bleeding, by population
--            unsupported: year, mark unsupported, by population
--            undetermined: year, mark undetermined, by population
--            set_apart: year, mark set-apart, by population
--            wasted: year, mark wasted, by population
--            returned: year, mark returned, by population
--            answer n: year, population newborn
--            answer of: year, population newborn|child
--            answer not_known: year, population newborn|child, mark undetermined
--            answer judged: year, population newborn|child, mark appropriate|under-dosed|non-bleeding|unsupported
-- needs:     non_bleeding: bleeding
--            appropriate + under_dosed + non_bleeding + unsupported + undetermined + set_apart + wasted + returned: patients
--            appropriate + under_dosed: dose band
-- not known: a patient without a birth date is judged as an adult; the clotting limits of adults decide nothing for newborns, so that most of theirs are undetermined
SELECT
    people.population AS population,
    count(*) FILTER (year_episodes.mark = 'appropriate') AS appropriate,
    count(*) FILTER (year_episodes.mark = 'under-dosed') AS under_dosed,
    count(*) FILTER (year_episodes.mark = 'non-bleeding') AS non_bleeding,
    count(*) FILTER (year_episodes.mark = 'unsupported') AS unsupported,
    count(*) FILTER (year_episodes.mark = 'undetermined') AS undetermined,
    count(*) FILTER (year_episodes.mark = 'set-apart') AS set_apart,
    count(*) FILTER (year_episodes.mark = 'wasted') AS wasted,
    count(*) FILTER (year_episodes.mark = 'returned') AS returned
FROM (VALUES (1, 'newborn'), (2, 'child')) AS people(place, population)
LEFT JOIN year_episodes ON year_episodes.population = people.population
GROUP BY people.place, people.population
ORDER BY people.place
-- answer
SELECT
    count(*) FILTER (year_episodes.population = 'newborn') AS n,
    count(*) AS of,
    count(*) FILTER (year_episodes.mark = 'undetermined') AS not_known,
    count(*) FILTER (year_episodes.mark IN ('appropriate', 'under-dosed', 'non-bleeding', 'unsupported')) AS judged
FROM year_episodes
WHERE year_episodes.population IN ('newborn', 'child')
