package normalise

import (
	"strings"
	"testing"
	"time"
)

// The ends of the calendar, east and west of UTC: what the engine could not
// print and read again is not read.
func TestEndsOfTheCalendar(t *testing.T) {
	for _, c := range []struct{ zone, cells, faults, want string }{
		{"Europe/Dublin", "issued_at=0000-01-01T00:00", "issued_at rejected", ""},
		{"Europe/Berlin", "issued_at=0001-01-01T00:30", "issued_at rejected", ""},
		{"Europe/Berlin", "issued_at=0001-01-01T12:00", "", "issued_at"},
		{"America/New_York", "issued_at=0001-01-01T00:30", "", "issued_at"},
		{"America/New_York", "issued_at=0001-01-01T00:30Z", "issued_at rejected", ""},
		{"America/New_York", "issued_at=9999-12-31T23:59:59", "issued_at rejected", ""},
		{"Europe/Berlin", "issued_at=9999-12-31T23:59:59", "", "issued_at"},
		{"Europe/Berlin", "issued_at=9999-12-31T23:59:59Z", "issued_at rejected", ""},
		{"America/New_York", "issued_at=2025-03-10T10:00 expires_at=9999-12-31", "", "expires_at"},
		{"Europe/Berlin", "issued_at=2025-03-10T10:00 expires_at=9999-12-31", "", "expires_at"},
		{"Europe/Berlin", "issued_at=2025-03-10T10:00 expires_at=0000-00-00", "expires_at dropped", ""},
		{"Europe/Berlin", "issued_at=2025-03-10T10:00 expires_at=0001-01-01", "expires_at dropped", ""},
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		otherZone = zone
		r := issue(t, "", "", strings.Fields(c.cells)...)
		otherZone = nil
		if r.faults() != c.faults {
			t.Errorf("%s %s: %s, want %s", c.zone, c.cells, r.faults(), c.faults)
		}
		if c.want != "" && r.one(t, "issues")[c.want] == "" {
			t.Errorf("%s %s: no %s", c.zone, c.cells, c.want)
		}
	}
}
