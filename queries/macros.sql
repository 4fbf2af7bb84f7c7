-- macros: words for time and limits that every query may use.
--
-- hours(h), minutes(m), days(d): a length of time; a day is 24 h whatever the clock does.
-- hours_between(a, b):           hours from a to b, 6 decimals.
-- told_as_date(list, column):    the source told this time column as a date alone.
CREATE OR REPLACE MACRO hours(h) AS to_microseconds(CAST(round(h * 3600000000.0) AS BIGINT));
CREATE OR REPLACE MACRO minutes(m) AS to_microseconds(CAST(round(m * 60000000.0) AS BIGINT));
CREATE OR REPLACE MACRO days(d) AS to_microseconds(CAST(round(d * 86400000000.0) AS BIGINT));
CREATE OR REPLACE MACRO hours_between(a, b) AS round((epoch_us(CAST(b AS TIMESTAMP)) - epoch_us(CAST(a AS TIMESTAMP))) / 3600000000.0, 6);
CREATE OR REPLACE MACRO told_as_date(list, name) AS list IS NOT NULL AND list_contains(string_split(list, ' '), name);
-- over_limit(value, bound, over):   every value that the result allows is over the limit; null where it is not decided.
-- under_limit(value, bound, under): every value that the result allows is under the limit; null where it is not decided.
-- devine_kg(sex, height_cm):        ideal weight of an adult (Devine 1974: 50 or 45.5 kg, and 2.3 kg an inch over 60); null where it has none.
CREATE OR REPLACE MACRO over_limit(value, bound, over) AS CASE
    WHEN over IS NULL THEN NULL
    WHEN bound = 'unclottable' THEN true
    WHEN bound IS NULL THEN value > over
    WHEN bound = '>' AND value >= over THEN true
    WHEN bound = '>=' AND value > over THEN true
    WHEN bound IN ('<', '<=') AND value <= over THEN false
END;
CREATE OR REPLACE MACRO under_limit(value, bound, under) AS CASE
    WHEN under IS NULL THEN NULL
    WHEN bound = 'unclottable' THEN true
    WHEN bound IS NULL THEN value < under
    WHEN bound = '<' AND value <= under THEN true
    WHEN bound = '<=' AND value < under THEN true
    WHEN bound IN ('>', '>=') AND value >= under THEN false
END;
CREATE OR REPLACE MACRO devine_kg(sex, height_cm) AS
    nullif(greatest(0.0, CASE sex WHEN 'M' THEN 50.0 WHEN 'F' THEN 45.5 END + CASE WHEN sex IN ('M', 'F') THEN 2.3 * (CAST(height_cm AS DOUBLE) / 2.54 - 60.0) END), 0.0);
