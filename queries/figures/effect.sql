-- effect: Did the INR fall, and as much as expected?
--
-- reads:     year_episodes
-- points:    band: label; INR before
--            pairs: count; Episodes
--            before: number of pairs; Median before
--            low: number of pairs; Lower quartile after
--            after: number of pairs; Median after
--            high: number of pairs; Upper quartile after
--            expected: number of pairs; Median expected after
--            change_low: number of pairs; Lower quartile of the change
--            change: number of pairs; Median change
--            change_high: number of pairs; Upper quartile of the change
--            change_expected: number of pairs; Median expected change
-- answer:    n: count; Lower after
--            of: count; Episodes with both
--            not_known: count; Without a pair
--            tested: count; Any test after
--            given: count; Given
--            change: number of of; Median change
--            much: number of of; Median change from over 2
-- means:     pairs: year, outcome transfused, inr_moved lower|not lower, in rows
--            answer n: year, outcome transfused, inr_moved lower
--            answer of: sum of pairs
--            answer not_known: year, outcome transfused, inr_moved no pair
--            answer tested: year, outcome transfused, tested_after true
--            answer given: year, outcome transfused
-- needs:     pairs: labs
--            answer tested: labs
-- not known: episodes without an INR on both sides, or where either is a bound of the method
WITH

paired AS (
    SELECT
        year_episodes.inr_before,
        year_episodes.inr_after,
        year_episodes.change_inr,
        year_episodes.expected_change_inr,
        year_episodes.inr_before + year_episodes.expected_change_inr AS expected,
        CASE
            WHEN year_episodes.inr_before <= 1.5 THEN 1
            WHEN year_episodes.inr_before <= 2 THEN 2
            WHEN year_episodes.inr_before <= 3 THEN 3
            WHEN year_episodes.inr_before <= 5 THEN 4
            ELSE 5
        END AS place
    FROM year_episodes
    WHERE year_episodes.outcome = 'transfused' AND year_episodes.change_inr IS NOT NULL
)

SELECT
    bands.band AS band,
    count(paired.place) AS pairs,
    round(median(paired.inr_before), 2) AS before,
    round(quantile_cont(paired.inr_after, 0.25), 2) AS low,
    round(median(paired.inr_after), 2) AS after,
    round(quantile_cont(paired.inr_after, 0.75), 2) AS high,
    round(median(paired.expected), 2) AS expected,
    round(quantile_cont(paired.change_inr, 0.25), 2) AS change_low,
    round(median(paired.change_inr), 2) AS change,
    round(quantile_cont(paired.change_inr, 0.75), 2) AS change_high,
    round(median(paired.expected_change_inr), 2) AS change_expected
FROM (VALUES (1, 'to 1.5'), (2, 'over 1.5 to 2'), (3, 'over 2 to 3'), (4, 'over 3 to 5'), (5, 'over 5')) AS bands(place, band)
LEFT JOIN paired ON paired.place = bands.place
GROUP BY bands.place, bands.band
ORDER BY bands.place
-- answer
SELECT
    count(*) FILTER (year_episodes.change_inr < 0) AS n,
    count(year_episodes.change_inr) AS of,
    count(*) FILTER (year_episodes.change_inr IS NULL) AS not_known,
    count(*) FILTER (coalesce(year_episodes.inr_after_at, year_episodes.pt_ratio_after_at, year_episodes.aptt_ratio_after_at) IS NOT NULL) AS tested,
    count(*) AS given,
    round(median(year_episodes.change_inr), 2) AS change,
    round(median(year_episodes.change_inr) FILTER (year_episodes.inr_before > 2), 2) AS much
FROM year_episodes
WHERE year_episodes.outcome = 'transfused'
