-- sensitivity: What if the dose floor or the INR limit were another?
--
-- reads:     tried_values, judged_again, year_episodes, policy
-- points:    what_if: label; What if
--            appropriate: count; Appropriate
--            judged: count; Judged
--            share: share of appropriate, judged; Share appropriate
--            changed: count; Change their mark
--            tried: key; Policy value
-- answer:    n: count; Appropriate by the site's own values
--            of: count; Judged by the site's own values
--            not_known: count; Undetermined by the site's own values
--            given: count; Episodes in which plasma was given
--            floor_10: count; Change with a floor of 10 mL/kg
--            floor_12: count; Change with a floor of 12 mL/kg
--            floor_15: count; Change with a floor of 15 mL/kg
--            inr_1_5: count; Change with an INR limit of 1.5
--            inr_1_8: count; Change with an INR limit of 1.8
--            inr_2: count; Change with an INR limit of 2.0
--            tolerance: number; Tolerance of the dose, mL/kg
-- means:     appropriate: year, new_mark@tried appropriate
--            judged: year, new_mark@tried appropriate|under-dosed|non-bleeding|unsupported
--            changed: year, changed@tried true
--            answer n: year, mark appropriate
--            answer of: year, mark appropriate|under-dosed|non-bleeding|unsupported
--            answer not_known: year, mark undetermined
--            answer given: year, outcome transfused
--            answer floor_10: year, changed@dose_low=10 true
--            answer floor_12: year, changed@dose_low=12 true
--            answer floor_15: year, changed@dose_low=15 true
--            answer inr_1_5: year, changed@over_bleeding=1.5 true
--            answer inr_1_8: year, changed@over_bleeding=1.8 true
--            answer inr_2: year, changed@over_bleeding=2 true
-- needs:     changed where tried dose_low=*: measures
--            changed where tried over_bleeding=*: labs
--            answer floor_10 + floor_12 + floor_15: measures
--            answer inr_1_5 + inr_1_8 + inr_2: labs
--            appropriate + share: dose band
--            answer n: dose band
-- steps:     tried
-- hidden:    first
-- adds up:   no
-- not known: undetermined episodes are in no row, nor those set apart, wasted or returned
SELECT
    tried_values.what_if AS what_if,
    count(*) FILTER (judged_again.new_mark = 'appropriate') AS appropriate,
    count(*) FILTER (judged_again.new_mark IN ('appropriate', 'under-dosed', 'non-bleeding', 'unsupported')) AS judged,
    CASE WHEN count(*) FILTER (judged_again.new_mark IN ('appropriate', 'under-dosed', 'non-bleeding', 'unsupported')) > 0
        THEN count(*) FILTER (judged_again.new_mark = 'appropriate')
            / count(*) FILTER (judged_again.new_mark IN ('appropriate', 'under-dosed', 'non-bleeding', 'unsupported'))
    END AS share,
    count(*) FILTER (judged_again.changed) AS changed,
    tried_values.tried AS tried
FROM tried_values
LEFT JOIN judged_again ON judged_again.tried = tried_values.tried
GROUP BY tried_values.place, tried_values.what_if, tried_values.tried
ORDER BY tried_values.place
-- answer
SELECT
    (SELECT count(*) FROM year_episodes WHERE year_episodes.mark = 'appropriate') AS n,
    (SELECT count(*) FROM year_episodes WHERE year_episodes.mark IN ('appropriate', 'under-dosed', 'non-bleeding', 'unsupported')) AS of,
    (SELECT count(*) FROM year_episodes WHERE year_episodes.mark = 'undetermined') AS not_known,
    (SELECT count(*) FROM year_episodes WHERE year_episodes.outcome = 'transfused') AS given,
    max(points.changed) FILTER (points.tried = 'dose_low=10') AS floor_10,
    max(points.changed) FILTER (points.tried = 'dose_low=12') AS floor_12,
    max(points.changed) FILTER (points.tried = 'dose_low=15') AS floor_15,
    max(points.changed) FILTER (points.tried = 'over_bleeding=1.5') AS inr_1_5,
    max(points.changed) FILTER (points.tried = 'over_bleeding=1.8') AS inr_1_8,
    max(points.changed) FILTER (points.tried = 'over_bleeding=2') AS inr_2,
    (SELECT any_value(policy.dose_tolerance) FROM policy WHERE policy.until_date IS NULL)::DOUBLE AS tolerance
FROM points
