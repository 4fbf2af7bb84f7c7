-- named_places: the judged episodes of the year, each with the place and the specialty by which charts name it: those with few judged episodes are pooled.
--
-- reads:     year_episodes, policy
WITH

judged AS (
    SELECT
        year_episodes.episode_id,
        year_episodes.mark,
        coalesce(year_episodes.location, 'not recorded') AS place,
        coalesce(year_episodes.specialty, 'not recorded') AS specialty
    FROM year_episodes
    WHERE year_episodes.mark IN ('appropriate', 'under-dosed', 'non-bleeding', 'unsupported')
),

sizes AS (
    SELECT
        judged.*,
        count(*) OVER (PARTITION BY judged.place) AS of_place,
        count(*) OVER (PARTITION BY judged.specialty) AS of_specialty
    FROM judged
)

SELECT
    sizes.episode_id,
    sizes.mark,
    CASE WHEN sizes.of_place < least.number THEN 'other places, pooled' ELSE sizes.place END AS place,
    CASE WHEN sizes.of_specialty < least.number THEN 'other specialties, pooled' ELSE sizes.specialty END AS specialty
FROM sizes
CROSS JOIN (SELECT greatest(5, max(policy.small_count)) AS number FROM policy) AS least
