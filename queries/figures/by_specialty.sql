-- by_specialty: Does any specialty differ from the rest of the hospital?
--
-- reads:     named_places
-- points:    specialty: label; Specialty
--            appropriate: count; Appropriate
--            judged: count; Judged
--            share: share of appropriate, judged; Share
-- answer:    n: count; Appropriate
--            of: count; Judged
--            specialties: units; Specialties shown by name
-- means:     appropriate: year, mark appropriate, by specialty
--            judged: year, mark appropriate|under-dosed|non-bleeding|unsupported, by specialty
--            answer n: sum of appropriate
--            answer of: sum of judged
-- needs:     appropriate + share: dose band
--            answer n: dose band
-- not known: undetermined episodes are left out; specialties with fewer than 5 judged episodes, or fewer than the smallest count that is shown (small_count), are pooled as other
SELECT
    named_places.specialty AS specialty,
    count(*) FILTER (named_places.mark = 'appropriate') AS appropriate,
    count(*) AS judged,
    count(*) FILTER (named_places.mark = 'appropriate') / count(*) AS share
FROM named_places
GROUP BY named_places.specialty
-- By name: a list by share would be a league table.
ORDER BY named_places.specialty = 'other specialties, pooled', named_places.specialty
-- answer
SELECT
    coalesce(sum(points.appropriate), 0)::BIGINT AS n,
    coalesce(sum(points.judged), 0)::BIGINT AS of,
    count(*) FILTER (points.specialty <> 'other specialties, pooled') AS specialties
FROM points
