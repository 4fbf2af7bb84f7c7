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
