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
	stretches := offsets(zone)
	var rows [][]any
	for _, one := range stretches {
		rows = append(rows, []any{time.Unix(one.from, 0).UTC(), one.offset})
	}
	if err := e.Load(ctx, "zone", []contract.Column{{Name: "from_utc", Kind: contract.Instant}, {Name: "offset_s", Kind: contract.Int}}, rows); err != nil {
		return err
	}
	if err := e.Load(ctx, "day_runs", dayRunColumns, dayRuns(stretches)); err != nil {
		return err
	}
	if err := e.Exec(ctx, "local days", localDays); err != nil {
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

// dayRunColumns is the shape of the table day_runs: days that follow on one another,
// each of 24 hours but for the last, with the first day, where it starts, how many
// they are, and where the last ends.
var dayRunColumns = []contract.Column{{Name: "first_day", Kind: contract.Instant}, {Name: "starts_at", Kind: contract.Instant}, {Name: "days", Kind: contract.Int}, {Name: "ends_at", Kind: contract.Instant}}

// localDays makes local_days of the table day_runs.
const localDays = `
CREATE OR REPLACE TABLE local_days AS
SELECT
    CAST(numbered.first_day AS DATE) + CAST(numbered.n AS INTEGER) AS day,
    numbered.starts_at + to_days(CAST(numbered.n AS INTEGER)) AS starts_at,
    CASE WHEN numbered.n = numbered.days - 1 THEN numbered.ends_at ELSE numbered.starts_at + to_days(CAST(numbered.n + 1 AS INTEGER)) - to_microseconds(1) END AS ends_at
FROM (SELECT day_runs.*, unnest(range(day_runs.days)) AS n FROM day_runs) AS numbered
ORDER BY day;
DROP TABLE day_runs`

// dayRuns are the rows of day_runs, for the days of all years.
func dayRuns(stretches []stretch) (runs [][]any) {
	const day = 24 * 60 * 60
	at := 0
	// starts is the first instant of the day whose midnight the clock shows as that
	// many seconds. Midnight is looked for in the last stretch that begins, on the
	// wall, by then: where the clock skips it, that is the one before, at whose end the
	// day begins. Where the clock goes back onto midnight or over it, midnight may have
	// been shown in the stretch before already.
	starts := func(midnight int64) int64 {
		for at+1 < len(stretches) && stretches[at+1].from+stretches[at+1].offset <= midnight {
			at++
		}
		if at > 0 {
			if before := midnight - stretches[at-1].offset; before < stretches[at].from && before >= stretches[at-1].from {
				return before
			}
		}
		return midnight - stretches[at].offset
	}
	first := time.Date(firstYear, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
	end := time.Date(lastYear, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
	from, fromStarts, began := first, starts(first), starts(first)
	for midnight := first; midnight < end; midnight += day {
		next := starts(midnight + day)
		if next-began != day || midnight+day == end {
			ends := time.Unix(next, 0).Add(-time.Microsecond).UTC()
			runs = append(runs, []any{time.Unix(from, 0).UTC(), time.Unix(fromStarts, 0).UTC(), (midnight-from)/day + 1, ends})
			from, fromStarts = midnight+day, next
		}
		began = next
	}
	return runs
}

// stretch is a time of one offset from UTC: from an instant on, in seconds.
type stretch struct{ from, offset int64 }

// offsets lists the instants at which the zone's offset changes: each day is
// looked at, and the day of a change searched to the second.
func offsets(zone *time.Location) []stretch {
	offset := func(unix int64) int64 {
		_, seconds := time.Unix(unix, 0).In(zone).Zone()
		return int64(seconds)
	}
	first := time.Date(firstYear, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
	last := time.Date(lastYear, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
	// Instants before the span take its first offset.
	all := []stretch{{time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC).Unix(), offset(first)}}
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
		all = append(all, stretch{after, offset(after)})
	}
	return all
}
