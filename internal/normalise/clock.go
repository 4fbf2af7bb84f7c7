package normalise

import (
	"fmt"
	"sort"
	"sync"
	"time"
)

const (
	second = int64(1_000_000) // in microseconds
	minute = 60 * second
	hour   = 60 * minute
	dayUS  = 24 * hour
)

// The years over which changes of the clock are known; before and after them
// the nearest offset holds.
const firstYear, lastYear = 1970, 2100

// clock knows the hospital's offset from UTC at every instant.
type clock struct {
	zone *time.Location
	// from[i] is the instant, in Unix seconds, from which offset[i] holds.
	from, offset []int64
}

// clocks holds the clock of each zone: to make one is to look at every day of 130
// years, which for a small file costs more than to read it.
var clocks sync.Map

// clockOf gives the clock of a zone. It must not be changed.
func clockOf(zone *time.Location) *clock {
	if c, known := clocks.Load(zone); known {
		return c.(*clock)
	}
	c, _ := clocks.LoadOrStore(zone, newClock(zone))
	return c.(*clock)
}

func newClock(zone *time.Location) *clock {
	c := &clock{zone: zone}
	at := func(unix int64) int64 {
		_, seconds := time.Unix(unix, 0).In(zone).Zone()
		return int64(seconds)
	}
	first := time.Date(firstYear, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
	last := time.Date(lastYear, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
	c.from, c.offset = []int64{-1 << 60}, []int64{at(first)}
	const day = 24 * 60 * 60
	for before := first; before < last; before += day {
		if at(before) == at(before+day) {
			continue
		}
		i := int64(sort.Search(day, func(i int) bool { return at(before+int64(i)) != at(before) }))
		c.from, c.offset = append(c.from, before+i), append(c.offset, at(before+i))
	}
	return c
}

// offsetAt gives the offset in seconds at an instant in Unix seconds. hint is
// the place of the last answer: times of one export lie close together.
func (c *clock) offsetAt(unix int64, hint *int) int64 {
	i := *hint
	if !(i < len(c.from) && c.from[i] <= unix && (i+1 == len(c.from) || unix < c.from[i+1])) {
		i = sort.Search(len(c.from), func(i int) bool { return c.from[i] > unix }) - 1
		*hint = i
	}
	return c.offset[i]
}

// instants gives the instants, in Unix seconds and in order, at which the wall
// shows a local time (also in seconds, as if it were UTC): two in the hour that
// the clock repeats, none in the one that it skips.
func (c *clock) instants(wall int64, hint *int) (first, second int64, n int) {
	// Far from a change the offset of the last answer is the only candidate.
	const far = 2 * 24 * 60 * 60
	i := *hint
	if i < len(c.from) && wall-far >= c.from[i] && (i+1 == len(c.from) || wall+far < c.from[i+1]) {
		return wall - c.offset[i], 0, 1
	}
	i = max(sort.Search(len(c.from), func(i int) bool { return c.from[i] > wall-far })-1, 0)
	*hint = i
	for ; i < len(c.from) && c.from[i] <= wall+far; i++ {
		unix := wall - c.offset[i]
		if unix < c.from[i] || i+1 < len(c.from) && unix >= c.from[i+1] {
			continue
		}
		if n == 0 {
			first = unix
		} else {
			second = unix
		}
		n++
	}
	return first, second, n
}

// midnight is the first instant of a local day in microseconds, also where the
// clock skips midnight. day counts from 1 January 1970.
func (c *clock) midnight(day int64) int64 {
	year, month, date := time.Unix(day*24*60*60, 0).UTC().Date()
	t := time.Date(year, month, date, 0, 0, 0, 0, c.zone)
	for t.Day() != date {
		// A skipped midnight reads as the evening before: the day begins at the change.
		t = t.Add(time.Minute)
	}
	return t.UnixMicro()
}

// EndOfDay gives the last microsecond of a local day, in UTC. day is written
// YYYY-MM-DD; anything else is an error.
func EndOfDay(zone *time.Location, day string) (time.Time, error) {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return time.Time{}, fmt.Errorf("found %q, wanted a day as 2025-07-01", day)
	}
	c := clock{zone: zone}
	return time.UnixMicro(c.midnight(t.Unix()/(24*60*60)+1) - 1).UTC(), nil
}

// daysOf counts the days from 1 January 1970 to a date of the proleptic
// Gregorian calendar, by counting years from March (Hinnant, "chrono-compatible
// low-level date algorithms").
func daysOf(year, month, day int) int64 {
	if month <= 2 {
		year--
		month += 12
	}
	era := year / 400
	if year < 0 {
		era = (year - 399) / 400
	}
	of := year - era*400
	dayOfYear := (153*(month-3)+2)/5 + day - 1
	return int64(era)*146097 + int64(of*365+of/4-of/100+dayOfYear) - 719468
}

// daysIn is the number of days of a month.
func daysIn(year, month int) int {
	switch month {
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}
