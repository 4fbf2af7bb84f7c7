-- marked: the mark of each episode in each lens.
--
-- reads:     facts, verdicts
SELECT
    facts.*,
    verdicts.mark_row,
    verdicts.mark,
    verdicts.because
FROM facts
INNER JOIN verdicts
    ON verdicts.outcome = facts.outcome
    AND verdicts.basis = facts.basis
    AND verdicts.coagulopathy = facts.coagulopathy
    AND verdicts.alternative = facts.alternative
    AND verdicts.dose_band = facts.dose_band
    AND verdicts.course = facts.course
