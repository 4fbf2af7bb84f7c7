package engine

import (
	"context"
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
	var days [][]any
	for day := time.Date(firstYear, 1, 1, 0, 0, 0, 0, time.UTC); day.Year() < lastYear; day = day.AddDate(0, 0, 1) {
		starts := midnight(zone, day.Year(), day.Month(), day.Day())
		next := midnight(zone, day.Year(), day.Month(), day.Day()+1)
		days = append(days, []any{day, starts.UTC(), next.Add(-time.Microsecond).UTC()})
	}
	err := e.Load(ctx, "local_days", []contract.Column{
		{Name: "day", Kind: contract.Date}, {Name: "starts_at", Kind: contract.Instant}, {Name: "ends_at", Kind: contract.Instant}}, days)
	if err != nil {
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

// midnight is the first instant of a local day, also where the clock skips it.
func midnight(zone *time.Location, year int, month time.Month, day int) time.Time {
	t := time.Date(year, month, day, 0, 0, 0, 0, zone)
	for t.Day() != time.Date(year, month, day, 12, 0, 0, 0, zone).Day() {
		// A skipped midnight reads as the evening before: the day begins at
		// the change.
		t = t.Add(time.Minute)
	}
	return t
}

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
	for at := first; at < last; at += day {
		before, after := at, at+day
		if offset(before) == offset(after) {
			continue
		}
		for after-before > 1 {
			middle := (before + after) / 2
			if offset(middle) == offset(at) {
				before = middle
			} else {
				after = middle
			}
		}
		rows = append(rows, []any{time.Unix(after, 0).UTC(), offset(after)})
	}
	return rows
}
