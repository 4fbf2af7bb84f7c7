-- response_confounded: another product that acts on the test was given between the results before and after.
--
-- of:        episode
-- needs:     medicines
-- reads:     dose_judged, confounded_responses
-- fires:     prothrombin_complex, fibrinogen_concentrate, vitamin_k (from 12 h earlier) or cryoprecipitate between both results
-- not known: never: the medicines feed is needed
-- severity:  data
-- source:    common practice
WITH gathered AS (
    SELECT
        confounded_responses.episode_id,
        bool_or(confounded_responses.confounded) AS confounded,
        string_agg(confounded_responses.test, ' ' ORDER BY confounded_responses.test) FILTER (WHERE confounded_responses.confounded) AS tests
    FROM confounded_responses
    GROUP BY confounded_responses.episode_id
)

SELECT
    dose_judged.episode_id AS key,
    dose_judged.episode_id,
    CASE WHEN gathered.confounded THEN 'fired' ELSE 'clear' END AS result,
    gathered.tests
FROM dose_judged
LEFT JOIN gathered ON gathered.episode_id = dose_judged.episode_id
