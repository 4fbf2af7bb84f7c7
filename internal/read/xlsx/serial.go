package xlsx

import (
	"math"
	"strconv"
	"time"
)

// A date is a number of days: in the 1900 system day 1 is 1 January 1900 and day
// 60 is 29 February 1900, which never was; in the 1904 system day 0 is 1 January
// 1904 (ECMA-376 part 1, 18.17.4.1).
var (
	day0Of1900 = time.Date(1899, 12, 31, 0, 0, 0, 0, time.UTC)
	day0Of1904 = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)
)

const (
	leapDay1900 = 60
	// 31 December 9999
	lastDay1900 = 2958465
	lastDay1904 = 2957003
	dayMS       = 24 * 60 * 60 * 1000
)

// appendTime appends the number of days as an ISO 8601 local time: a date alone
// where the format shows no time and there is none, a time of day alone where
// the format shows no date and there is none. Times are to the millisecond, as
// spreadsheet programs keep them. A number that is no time stays a number, and
// the day that never was is written as it is, which no reader takes.
func appendTime(b []byte, serial float64, what shows, epoch1904 bool) []byte {
	day := math.Floor(serial)
	ms := int64(math.Round((serial - day) * dayMS))
	if ms == dayMS {
		day, ms = day+1, 0
	}
	if what&showsDate == 0 && day == 0 {
		return appendClock(b, ms)
	}
	last := float64(lastDay1900)
	if epoch1904 {
		last = lastDay1904
	}
	if day < 0 || day > last {
		return appendNumber(b, serial)
	}
	switch {
	case epoch1904:
		b = day0Of1904.AddDate(0, 0, int(day)).AppendFormat(b, time.DateOnly)
	case day == 0:
		b = append(b, "1900-01-00"...)
	case day == leapDay1900:
		b = append(b, "1900-02-29"...)
	case day > leapDay1900:
		b = day0Of1900.AddDate(0, 0, int(day)-1).AppendFormat(b, time.DateOnly)
	default:
		b = day0Of1900.AddDate(0, 0, int(day)).AppendFormat(b, time.DateOnly)
	}
	if ms == 0 && what&showsTime == 0 {
		return b
	}
	return appendClock(append(b, 'T'), ms)
}

// appendClock appends hh:mm:ss, and milliseconds where there are any.
func appendClock(b []byte, ms int64) []byte {
	two := func(n int64, sign byte) {
		b = append(b, byte('0'+n/10), byte('0'+n%10))
		if sign != 0 {
			b = append(b, sign)
		}
	}
	two(ms/3_600_000, ':')
	two(ms/60_000%60, ':')
	two(ms/1000%60, 0)
	if ms %= 1000; ms > 0 {
		b = append(b, '.', byte('0'+ms/100), byte('0'+ms/10%10), byte('0'+ms%10))
	}
	return b
}

// appendNumber appends the shortest text that reads as the same number, without
// an exponent where it has at most 21 digits before the point.
func appendNumber(b []byte, v float64) []byte {
	format := byte('f')
	if a := math.Abs(v); a >= 1e21 || a != 0 && a < 1e-9 {
		format = 'g'
	}
	return strconv.AppendFloat(b, v, format, -1, 64)
}

// whole reports whether b is an integer written plainly: such a text is exact
// as it is, however long.
func whole(b []byte) bool {
	if len(b) > 1 && b[0] == '-' {
		b = b[1:]
	}
	for _, c := range b {
		if c < '0' || c > '9' {
			return false
		}
	}
	return len(b) > 0
}
