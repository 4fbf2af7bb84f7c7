-- exchange_reason: plasma exchange without a diagnosis of thrombotic thrombocytopenic purpura in its window.
--
-- of:        episode
-- needs:     events
-- reads:     judged_episodes
-- fires:     basis plasma_exchange and no diagnosis ttp in its window
-- not known: never: the events feed is needed
-- severity:  practice
-- source:    common practice: few other reasons need plasma as the exchange fluid
SELECT
    judged_episodes.episode_id AS key,
    judged_episodes.episode_id,
    CASE
        WHEN NOT judged_episodes.ttp THEN 'fired'
        ELSE 'clear'
    END AS result,
    judged_episodes.units_given,
    judged_episodes.delivered_ml
FROM judged_episodes
WHERE judged_episodes.basis = 'plasma_exchange'
