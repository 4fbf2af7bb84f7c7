-- doac_given_plasma: plasma was given within two days of a direct oral anticoagulant.
--
-- of:        episode
-- needs:     medicines
-- reads:     dose_judged
-- fires:     direct_oral_anticoagulant in the 2 days before t0
-- not known: never: the medicines feed is needed
-- severity:  practice
-- source:    common practice: plasma does not reverse these
SELECT
    dose_judged.episode_id AS key,
    dose_judged.episode_id,
    CASE
        WHEN dose_judged.direct_oral_anticoagulant THEN 'fired'
        ELSE 'clear'
    END AS result,
    dose_judged.inr_before,
    dose_judged.units_given
FROM dose_judged
