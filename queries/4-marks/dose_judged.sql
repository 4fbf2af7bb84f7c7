-- dose_judged: the transfused episodes to which the dose per kilogram applies: not exchange, circuit prime or major haemorrhage.
--
-- reads:     judged_episodes
SELECT judged_episodes.*
FROM judged_episodes
WHERE judged_episodes.by_dose
