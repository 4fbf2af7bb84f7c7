-- verdicts: the first row of the decision table that matches each combination of words.
--
-- reads:     facts, marks
WITH combinations AS (
    SELECT DISTINCT facts.outcome, facts.basis, facts.coagulopathy, facts.alternative, facts.dose_band, facts.course
    FROM facts
)

SELECT
    combinations.*,
    marks.mark_row,
    marks.mark,
    marks.because
FROM combinations
INNER JOIN marks
    ON (marks.outcome = '*' OR list_contains(string_split(marks.outcome, '|'), combinations.outcome))
    AND (marks.basis = '*' OR list_contains(string_split(marks.basis, '|'), combinations.basis))
    AND (marks.coagulopathy = '*' OR list_contains(string_split(marks.coagulopathy, '|'), combinations.coagulopathy))
    AND (marks.alternative = '*' OR list_contains(string_split(marks.alternative, '|'), combinations.alternative))
    AND (marks.dose_band = '*' OR list_contains(string_split(marks.dose_band, '|'), combinations.dose_band))
    AND (marks.course = '*' OR list_contains(string_split(marks.course, '|'), combinations.course))
QUALIFY row_number() OVER (
    PARTITION BY combinations.outcome, combinations.basis, combinations.coagulopathy, combinations.alternative, combinations.dose_band, combinations.course
    ORDER BY marks.mark_row
) = 1
