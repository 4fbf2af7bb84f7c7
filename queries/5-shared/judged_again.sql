-- judged_again: the year's episodes with the mark that each value of the policy which is tried would give, and in words how it differs.
--
-- reads:     tried_values, year_episodes, other_marks, policy
WITH judged AS (
    SELECT
        tried_values.tried,
        year_episodes.episode_id,
        year_episodes.mark,
        coalesce(other_marks.mark, year_episodes.mark) AS new_mark,
        coalesce(other_marks.mark <> year_episodes.mark, false) AS changed
    FROM tried_values
    CROSS JOIN year_episodes
    LEFT JOIN other_marks
        ON other_marks.value = tried_values.value
        AND other_marks.setting = tried_values.setting
        AND other_marks.episode_id = year_episodes.episode_id
),

moves AS (
    SELECT judged.tried, judged.mark, judged.new_mark, count(*) AS episodes
    FROM judged
    WHERE judged.changed
    GROUP BY judged.tried, judged.mark, judged.new_mark
),

fewer AS (
    SELECT
        moves.*,
        coalesce(sum(moves.episodes) OVER (
            PARTITION BY moves.tried ORDER BY moves.episodes, moves.mark, moves.new_mark
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        ), 0) AS episodes_before
    FROM moves
),

-- Small counts would be hidden, and others with them: they stand together, and
-- where they are too few still, with the next.
named AS (
    SELECT
        fewer.tried,
        fewer.mark,
        fewer.new_mark,
        CASE
            WHEN fewer.episodes < small.small_count OR fewer.episodes_before BETWEEN 1 AND small.small_count - 1 THEN 'other changes'
            ELSE fewer.mark || ' → ' || fewer.new_mark
        END AS move
    FROM fewer
    CROSS JOIN (SELECT max(policy.small_count) AS small_count FROM policy) AS small
)

SELECT
    judged.tried,
    judged.episode_id,
    judged.new_mark,
    judged.changed,
    named.move
FROM judged
LEFT JOIN named
    ON named.tried = judged.tried
    AND named.mark = judged.mark
    AND named.new_mark = judged.new_mark
    AND judged.changed
ORDER BY judged.tried, judged.episode_id
