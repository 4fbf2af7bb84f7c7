package engine

import (
	"context"
	"fmt"
	"time"

	"thawline/internal/contract"
)

// The years that zone tables span. Outside them a time has no local form.
const (
	firstYear = 1970
	lastYear  = 2100
)

// Zone gives SQL the hospital's clock, which the engine itself lacks:
//
//   - zone(from_utc, offset_s): the offset from UTC that holds from an instant on;
//   - local_days(day, starts_at, ends_at): each local day, its first and last
//     microsecond in UTC (a day of the change of clocks has 23 or 25 hours);
//   - local_time(at): an instant on the hospital's clock;
//   - day_end(at): the last microsecond of the local day that starts at an instant.
func (e *Engine) Zone(ctx context.Context, zone *time.Location) error {
	if err := e.Load(ctx, "zone", []contract.Column{{Name: "from_utc", Kind: contract.Instant}, {Name: "offset_s", Kind: contract.Int}}, offsets(zone)); err != nil {
		return err
	}
	if err := e.Exec(ctx, "local days", fmt.Sprintf(localDays, firstYear, lastYear)); err != nil {
		return err
	}
	return e.ZoneMacros(ctx)
}

// ZoneMacros makes the macros of Zone over its tables.
func (e *Engine) ZoneMacros(ctx context.Context) error {
	return e.Exec(ctx, "zone macros", `
CREATE OR REPLACE MACRO local_time(instant) AS (
    CAST(instant AS TIMESTAMP) + to_seconds((SELECT max_by(zone.offset_s, zone.from_utc) FROM zone WHERE zone.from_utc <= instant))
);
CREATE OR REPLACE MACRO day_end(instant) AS (
    SELECT min(local_days.ends_at) FROM local_days WHERE local_days.starts_at = instant
);`)
}

// localDays makes local_days of the table zone. A stretch of one offset begins,
// on the wall, at from_utc + offset. Midnight is looked for in the last stretch
// that begins by then: where the clock skips it, that is the one before, at whose
// end the day begins. Where the clock goes back onto midnight or over it, midnight
// may have been shown in the stretch before already.
const localDays = `
CREATE OR REPLACE TABLE local_days AS
WITH stretches AS (
    SELECT
        zone.from_utc,
        to_seconds(zone.offset_s) AS ahead,
        zone.from_utc + to_seconds(zone.offset_s) AS from_local,
        lag(zone.from_utc) OVER (ORDER BY zone.from_utc) AS from_before,
        to_seconds(lag(zone.offset_s) OVER (ORDER BY zone.from_utc)) AS ahead_before
    FROM zone
),
midnights AS (
    SELECT CAST(days.range AS TIMESTAMP) AS midnight
    FROM range(TIMESTAMP '%d-01-01', TIMESTAMP '%d-01-02', INTERVAL 1 DAY) AS days
),
begun AS (
    SELECT
        midnights.midnight,
        CASE
            WHEN midnights.midnight - stretches.ahead_before < stretches.from_utc AND midnights.midnight - stretches.ahead_before >= stretches.from_before
            THEN midnights.midnight - stretches.ahead_before
            ELSE midnights.midnight - stretches.ahead
        END AS starts_at
    FROM midnights
    ASOF INNER JOIN stretches ON midnights.midnight >= stretches.from_local
),
ended AS (
    SELECT
        CAST(begun.midnight AS DATE) AS day,
        begun.starts_at,
        lead(begun.starts_at) OVER (ORDER BY begun.midnight) - to_microseconds(1) AS ends_at
    FROM begun
)
SELECT ended.* FROM ended WHERE ended.ends_at IS NOT NULL ORDER BY ended.day`

// offsets lists the instants at which the zone's offset changes: each day is
// looked at, and the day of a change searched to the second.
func offsets(zone *time.Location) [][]any {
	offset := func(unix int64) int64 {
		_, seconds := time.Unix(unix, 0).In(zone).Zone()
		return int64(seconds)
	}
	first := time.Date(firstYear, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
	last := time.Date(lastYear, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
	// Instants before the span take its first offset.
	rows := [][]any{{time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC), offset(first)}}
	const day = 24 * 60 * 60
	holds := offset(first)
	for at := first; at < last; at += day {
		before, after := at, at+day
		was := holds
		if holds = offset(after); holds == was {
			continue
		}
		for after-before > 1 {
			middle := (before + after) / 2
			if offset(middle) == was {
				before = middle
			} else {
				after = middle
			}
		}
		rows = append(rows, []any{time.Unix(after, 0).UTC(), offset(after)})
	}
	return rows
}
