-- test_by_bleeding: What did the clotting test say before, and was there bleeding?
--
-- reads:     year_episodes, evidence
-- points:    band: label; INR (else PT ratio) before
--            recorded: count; Bleeding recorded
--            inferred: count; Bleeding inferred
--            not_found: count; No bleeding found
--            not_known: count; Bleeding not known
-- answer:    n: count; No bleeding found
--            of: count; Episodes given
--            not_known: count; Bleeding not known
--            no_test: count; Without a clotting test before
-- means:     recorded + inferred + not_found + not_known: year, outcome transfused, in rows
--            answer n: sum of not_found
--            answer of: sum of recorded + inferred + not_found + not_known
--            answer not_known: sum of not_known
--            answer no_test: sum of recorded + inferred + not_found + not_known where band no test
-- needs:     not_found: bleeding
--            answer n: bleeding
-- not known: without recorded or inferred bleeding, a procedure of low bleeding risk counts as no bleeding found where bleeding was recorded at all, and any other procedure as bleeding not known
WITH

-- The PT ratio speaks where there is no INR; one that did not clot is an INR.
tested AS (
    SELECT
        year_episodes.episode_id,
        year_episodes.basis,
        (year_episodes.inr_before IS NOT NULL OR year_episodes.inr_before_bound IS NOT NULL) AS by_inr,
        year_episodes.inr_before,
        year_episodes.inr_before_bound,
        year_episodes.pt_ratio_before,
        year_episodes.pt_ratio_before_bound
    FROM year_episodes
    WHERE year_episodes.outcome = 'transfused'
),

given AS (
    SELECT
        tested.episode_id,
        tested.basis,
        CASE WHEN tested.by_inr THEN tested.inr_before ELSE tested.pt_ratio_before END AS ratio,
        CASE WHEN tested.by_inr THEN tested.inr_before_bound ELSE tested.pt_ratio_before_bound END AS bound,
        coalesce(CASE WHEN tested.by_inr THEN tested.inr_before_bound ELSE tested.pt_ratio_before_bound END = '>', false) AS over
    FROM tested
),

-- A recorded piece of evidence outweighs any number of inferred ones.
told AS (
    SELECT evidence.episode_id, min(CASE evidence.strength WHEN 'recorded' THEN 1 ELSE 2 END) AS strength
    FROM evidence
    GROUP BY evidence.episode_id
),

placed AS (
    SELECT
        CASE
            WHEN given.bound = 'unclottable' THEN 5
            WHEN given.ratio IS NULL THEN 6
            -- Told as over a band's upper end, it lies above the band.
            WHEN given.ratio < 1.5 OR (given.ratio = 1.5 AND NOT given.over) THEN 1
            WHEN given.ratio < 2 OR (given.ratio = 2 AND NOT given.over) THEN 2
            WHEN given.ratio < 3 OR (given.ratio = 3 AND NOT given.over) THEN 3
            WHEN given.ratio < 5 OR (given.ratio = 5 AND NOT given.over) THEN 4
            ELSE 5
        END AS place,
        CASE
            WHEN told.strength = 1 THEN 'recorded'
            WHEN told.strength = 2 THEN 'inferred'
            WHEN given.basis IN ('none_found', 'procedure_low') THEN 'not_found'
            ELSE 'not_known'
        END AS bleeding
    FROM given
    LEFT JOIN told ON told.episode_id = given.episode_id
)

SELECT
    bands.band AS band,
    count(*) FILTER (placed.bleeding = 'recorded') AS recorded,
    count(*) FILTER (placed.bleeding = 'inferred') AS inferred,
    count(*) FILTER (placed.bleeding = 'not_found') AS not_found,
    count(*) FILTER (placed.bleeding = 'not_known') AS not_known
FROM (VALUES (1, 'to 1.5'), (2, 'over 1.5 to 2'), (3, 'over 2 to 3'), (4, 'over 3 to 5'), (5, 'over 5'), (6, 'no test')) AS bands(place, band)
LEFT JOIN placed ON placed.place = bands.place
GROUP BY bands.place, bands.band
ORDER BY bands.place
-- answer
SELECT
    coalesce(sum(points.not_found), 0)::BIGINT AS n,
    coalesce(sum(points.recorded + points.inferred + points.not_found + points.not_known), 0)::BIGINT AS of,
    coalesce(sum(points.not_known), 0)::BIGINT AS not_known,
    coalesce(sum(points.recorded + points.inferred + points.not_found + points.not_known) FILTER (points.band = 'no test'), 0)::BIGINT AS no_test
FROM points
