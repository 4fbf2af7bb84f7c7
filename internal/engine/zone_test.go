package engine

import (
	"context"
	"os"
	"testing"
	"time"
)

// dayZones are clocks that do what others do not: midnight skipped (São Paulo,
// Asunción, Beirut, Cairo, Tehran), shown twice (Havana, Azores), a minute past it
// (St John's), by half an hour (Lord Howe), by two (Troll), a day left out (Apia).
var dayZones = []string{"UTC", "Europe/London", "Europe/Dublin", "America/Sao_Paulo", "America/Asuncion", "Asia/Beirut", "Africa/Cairo", "Asia/Tehran",
	"America/Havana", "Atlantic/Azores", "America/St_Johns", "Australia/Lord_Howe", "Antarctica/Troll", "Pacific/Apia", "Asia/Gaza", "America/Toronto"}

// TestLocalDaysBeginAtTheirFirstInstant holds each local day against the
// library's own clock. THAWLINE_ZONE names another zone.
func TestLocalDaysBeginAtTheirFirstInstant(t *testing.T) {
	e, ctx := open(t), context.Background()
	zones := dayZones
	if name := os.Getenv("THAWLINE_ZONE"); name != "" {
		zones = []string{name}
	}
	for _, name := range zones {
		zone, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		if err := e.Zone(ctx, zone); err != nil {
			t.Fatal(err)
		}
		_, rows, err := e.Rows(ctx, "days", "SELECT day, starts_at, ends_at FROM local_days ORDER BY day")
		if err != nil {
			t.Fatal(err)
		}
		day := time.Date(firstYear, 1, 1, 0, 0, 0, 0, time.UTC)
		var ended time.Time
		for _, row := range rows {
			starts := row[1].(time.Time)
			if !row[0].(time.Time).Equal(day) || !ended.IsZero() && !starts.Equal(ended.Add(time.Microsecond)) {
				t.Fatalf("%s: %v starts at %v, after the end %v; want the day %v", name, row[0], starts, ended, day)
			}
			if !isFirstInstant(zone, day, starts.Unix()) {
				t.Errorf("%s: %s starts at %v", name, day.Format(time.DateOnly), starts)
			}
			day, ended = day.AddDate(0, 0, 1), row[2].(time.Time)
		}
		if day.Year() != lastYear || !isFirstInstant(zone, day, ended.Add(time.Microsecond).Unix()) {
			t.Errorf("%s: the days end with %v at %v", name, day, ended)
		}
	}
}

// isFirstInstant says that the wall shows a day, or a later one where it leaves
// that out, from an instant on, and never did in the three hours before.
func isFirstInstant(zone *time.Location, day time.Time, unix int64) bool {
	reached := func(at int64) bool {
		y, m, d := time.Unix(at, 0).In(zone).Date()
		return !time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Before(day)
	}
	if !reached(unix) || reached(unix-1) {
		return false
	}
	for before := int64(60); before <= 3*3600; before += 15 * 60 {
		if reached(unix - before) {
			return false
		}
	}
	return true
}
