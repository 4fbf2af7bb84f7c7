-- sensitivity_moves: Which marks would change, from which to which?
--
-- reads:     tried_values, judged_again, year_episodes
-- points:    what_if: label; What if
--            move: label; Change of the mark
--            episodes: count; Episodes
--            tried: key; Policy value
-- answer:    n: count; Episodes whose mark changes under any of them
--            of: count; Episodes in which plasma was given
-- means:     episodes: year, changed@tried true, by move@tried
--            answer n: year, mark_hangs true
--            answer of: year, outcome transfused
-- order:     episodes within what_if
-- hidden:    first
-- adds up:   no
-- not known: episodes that keep their mark; changes of a few episodes stand together as other changes
SELECT
    tried_values.what_if AS what_if,
    judged_again.move AS move,
    count(*) AS episodes,
    tried_values.tried AS tried
FROM judged_again
INNER JOIN tried_values ON tried_values.tried = judged_again.tried
WHERE judged_again.changed
GROUP BY tried_values.place, tried_values.what_if, tried_values.tried, judged_again.move
ORDER BY tried_values.place, judged_again.move = 'other changes', episodes DESC, judged_again.move
-- answer
SELECT
    (SELECT count(DISTINCT judged_again.episode_id) FROM judged_again WHERE judged_again.changed) AS n,
    (SELECT count(*) FROM year_episodes WHERE year_episodes.outcome = 'transfused') AS of
