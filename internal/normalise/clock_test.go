package normalise

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// Summer Time in the UK begins at 01:00 GMT on the last Sunday of March and
// ends at 01:00 GMT on the last Sunday of October (The Summer Time Order 2002,
// SI 2002/262): in 2025 on 30 March and 26 October.
func TestInstantsOfTheWall(t *testing.T) {
	c := newClock(zone(t, "Europe/London"))
	for wall, want := range map[string][]string{
		"2025-03-30T00:59": {"2025-03-30T00:59Z"},
		"2025-03-30T01:00": {},
		"2025-03-30T01:59": {},
		"2025-03-30T02:00": {"2025-03-30T01:00Z"},
		"2025-07-01T12:00": {"2025-07-01T11:00Z"},
		"2025-10-26T00:59": {"2025-10-25T23:59Z"},
		"2025-10-26T01:00": {"2025-10-26T00:00Z", "2025-10-26T01:00Z"},
		"2025-10-26T01:59": {"2025-10-26T00:59Z", "2025-10-26T01:59Z"},
		"2025-10-26T02:00": {"2025-10-26T02:00Z"},
		"2025-12-01T12:00": {"2025-12-01T12:00Z"},
	} {
		at, err := time.Parse("2006-01-02T15:04", wall)
		if err != nil {
			t.Fatal(err)
		}
		hint := 0
		first, second, n := c.instants(at.Unix(), &hint)
		found := []int64{first, second}[:n]
		if len(found) != len(want) {
			t.Errorf("%s: %d readings, want %v", wall, n, want)
			continue
		}
		for i, w := range want {
			if got := time.Unix(found[i], 0).UTC().Format("2006-01-02T15:04Z"); got != w {
				t.Errorf("%s: reading %d is %s, want %s", wall, i, got, w)
			}
		}
	}
}

// TestClockAgreesWithTheLibrary goes from instants to the wall and back, in
// zones with half hours, a southern summer and a midnight that is skipped.
func TestClockAgreesWithTheLibrary(t *testing.T) {
	for _, name := range []string{"Europe/London", "America/St_Johns", "Australia/Lord_Howe", "America/Santiago", "Asia/Kathmandu", "UTC"} {
		z := zone(t, name)
		c := newClock(z)
		rapid.Check(t, func(t *rapid.T) {
			unix := rapid.Int64Range(0, time.Date(2099, 1, 1, 0, 0, 0, 0, time.UTC).Unix()).Draw(t, "unix")
			hint := rapid.IntRange(0, len(c.from)-1).Draw(t, "hint")
			_, offset := time.Unix(unix, 0).In(z).Zone()
			other := hint
			if got := c.offsetAt(unix, &other); got != int64(offset) {
				t.Fatalf("%s: offset at %d is %d, the library says %d", name, unix, got, offset)
			}
			first, second, n := c.instants(unix+int64(offset), &hint)
			if !(n >= 1 && first == unix || n == 2 && second == unix) {
				t.Fatalf("%s: %d reads as %d, %d (%d readings)", name, unix, first, second, n)
			}
			year, month, day := time.Unix(unix, 0).In(z).Date()
			if got := daysOf(year, int(month), day); got != time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix()/86400 {
				t.Fatalf("day %d-%d-%d counts as %d", year, month, day, got)
			}
		})
	}
}

func TestEndOfDay(t *testing.T) {
	for day, want := range map[string]string{
		"2025-03-30": "2025-03-30T22:59:59.999999Z", // a day of 23 hours
		"2025-10-26": "2025-10-26T23:59:59.999999Z", // a day of 25 hours
		"2025-01-01": "2025-01-01T23:59:59.999999Z",
	} {
		end, err := EndOfDay(zone(t, "Europe/London"), day)
		if err != nil {
			t.Fatal(err)
		}
		if got := end.Format(time.RFC3339Nano); got != want {
			t.Errorf("%s ends at %s, want %s", day, got, want)
		}
	}
	if _, err := EndOfDay(time.UTC, "2025-13-01"); err == nil {
		t.Error("a thirteenth month has an end")
	}
}

func TestParseISO(t *testing.T) {
	for text, want := range map[string]string{
		"2025-03-10T10:00": "2025-03-10 10:00:00", "2025-03-10 10:00:05": "2025-03-10 10:00:05", "2025-03-10T10:00:05.25": "2025-03-10 10:00:05.25",
		"2025-03-10T10:00Z": "2025-03-10 10:00:00 +0", "2025-03-10T10:00:00+01:00": "2025-03-10 10:00:00 +3600", "2025-03-10 10:00:00 -0530": "2025-03-10 10:00:00 -19800",
		"2025-03-10T10:00:05,123456789Z": "2025-03-10 10:00:05.123456 +0", "2024-02-29": "2024-02-29", "2025-03-10T10": "2025-03-10 10:00:00", "2025-03-10T10+01": "2025-03-10 10:00:00 +3600",
		"2025-03-10T24:00": "2025-03-11 00:00:00", "2024-12-31T24:00:00Z": "2025-01-01 00:00:00 +0", "2024-02-28T24": "2024-02-29 00:00:00", "2025-03-10T10:00+02": "2025-03-10 10:00:00 +7200",
	} {
		w, ok := parseISO([]byte(text))
		if got := say(w); !ok || got != want {
			t.Errorf("%q: %s %v, want %s", text, got, ok, want)
		}
	}
	for _, text := range []string{"", "2025-02-29", "2025-13-01", "2025-00-10", "2025-03-32", "2025-03-10T24:01", "2025-02-29T24:00", "2025-03-10T24:00:00.5", "2025-03-10T25", "2025-03-10T10:60", "2025-03-10T1", "2025-03-10T10:", "2025-03-10T10:00:61",
		"10/03/2025", "2025-03-10X10:00", "2025-03-10T10:00+", "2025-03-10T10:00Zulu", "2025-03-10T10:00 ", "20250310", "2025-3-10", "2025-03-10T10:00:00.", "2025-03-10T10:00+99:00"} {
		if w, ok := parseISO([]byte(text)); ok {
			t.Errorf("%q was read as %s", text, say(w))
		}
	}
}

func TestParseBasic(t *testing.T) {
	for text, want := range map[string]string{
		"20250310": "2025-03-10", "20250310T10": "2025-03-10 10:00:00", "20250310T1005": "2025-03-10 10:05:00", "20250310t100507": "2025-03-10 10:05:07", "20250310T100507.25Z": "2025-03-10 10:05:07.25 +0",
		"20250310T1005+0100": "2025-03-10 10:05:00 +3600", "20250310T10-05": "2025-03-10 10:00:00 -18000", "20241231T2400": "2025-01-01 00:00:00", "20250310T10:05": "2025-03-10 10:05:00",
	} {
		w, ok := parseBasic([]byte(text))
		if got := say(w); !ok || got != want {
			t.Errorf("%q: %s %v, want %s", text, got, ok, want)
		}
	}
	for _, text := range []string{"", "2025031", "20250229", "20251301", "202503101", "20250310T", "20250310T1", "20250310T100", "20250310T10050", "20250310T2401", "20250310T1005.5",
		"20250310 1005", "20250310100500", "20250310T1005+", "2025-310", "19503101"} {
		if w, ok := parseBasic([]byte(text)); ok {
			t.Errorf("%q was read as %s", text, say(w))
		}
	}
	// A stated form in which digits alone are the date goes before, and alone.
	for cells, want := range map[string]string{"20250503": "2025-03-05T00:00:00", "2025-03-05T10": "2025-03-05T10:00:00", "20250325": ""} {
		r := issue(t, "time_format: \"20060201\"", "", "issued_at=2025-01-01", "requested_at=2025-01-01", "expires_at="+cells)
		want := map[string]string{"expires_at": strings.Replace(want, "00:00:00", "23:59:59.999999", 1)}
		same(t, cells, r.one(t, "issues"), want)
	}
}

func say(w written) string {
	text := time.Unix(w.wall(), w.us%second*1000).UTC().Format("2006-01-02")
	if w.hasTime {
		text = time.Unix(w.wall(), w.us%second*1000).UTC().Format("2006-01-02 15:04:05.999999")
	}
	if w.hasOffset {
		text += fmt.Sprintf(" %+d", w.offset)
	}
	return text
}

// TestLayoutsAgreeWithTheLibrary holds the quick reading of layouts to Go's own.
func TestLayoutsAgreeWithTheLibrary(t *testing.T) {
	for _, text := range []string{"02/01/2006 15:04", "02.01.2006 15:04:05", "1/2/2006 15:04", "02-Jan-2006 15:04", "01/02/2006 03:04 PM", "20060102150405", "02/01/06 15:04", "2/1/2006"} {
		l := newLayout(text)
		rapid.Check(t, func(t *rapid.T) {
			cell := rapid.OneOf(
				rapid.Custom(func(t *rapid.T) string {
					return time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "at"), 0).UTC().Format(text)
				}),
				rapid.StringMatching(`[0-9]{1,2}[/.-][0-9]{1,2}[/.-][0-9]{4}( [0-9]{1,2}:[0-9]{2}(:[0-9]{2})?)?`),
			).Draw(t, "cell")
			want, err := time.Parse(text, cell)
			w, ok := l.parse([]byte(cell))
			if ok != (err == nil) {
				t.Fatalf("%q as %q: read %v, the library says %v", cell, text, ok, err)
			}
			if ok && w.wall() != want.Unix() {
				t.Fatalf("%q as %q: %s, the library reads %s", cell, text, say(w), want)
			}
		})
	}
}
