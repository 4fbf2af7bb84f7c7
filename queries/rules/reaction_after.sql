-- reaction_after: a transfusion reaction was recorded after the plasma.
--
-- of:        episode
-- needs:     events
-- reads:     judged_episodes, event_spans
-- fires:     overload to 12 h, lung_injury to 6 h, any other to 24 h after t1
-- not known: never: the events feed is needed
-- severity:  safety
-- source:    from memory: common haemovigilance windows
WITH reactions AS (
    SELECT
        judged_episodes.episode_id,
        min((event_spans.at, coalesce(event_spans.detail, 'not recorded'))) AS earliest
    FROM judged_episodes
    INNER JOIN event_spans
        ON event_spans.patient_id = judged_episodes.patient_id
        AND event_spans.kind = 'reaction'
        AND event_spans.through >= judged_episodes.t0
        AND event_spans.at <= judged_episodes.t1 + hours(CASE event_spans.detail WHEN 'overload' THEN 12 WHEN 'lung_injury' THEN 6 ELSE 24 END)
    GROUP BY judged_episodes.episode_id
)

SELECT
    judged_episodes.episode_id AS key,
    judged_episodes.episode_id,
    CASE WHEN reactions.episode_id IS NOT NULL THEN 'fired' ELSE 'clear' END AS result,
    struct_extract(reactions.earliest, 2) AS reaction,
    hours_between(judged_episodes.t1, struct_extract(reactions.earliest, 1)) AS hours_after_end
FROM judged_episodes
LEFT JOIN reactions ON reactions.episode_id = judged_episodes.episode_id
