package main

import (
	"strings"

	language "thawline/internal/words"
)

// A step from one time of a unit to the next; given says that only units that were
// given have it.
type step struct {
	label, from, to string
	given           bool
}

// steps are those that the page shows, in its order. The end is counted from the
// moment a unit left storage, which is its issue where nobody saw it leave.
var steps = []step{
	{"request to issue", "requested_at", "issued_at", false}, {"thaw to issue", "thawed_at", "issued_at", false},
	{"issue to start", "issued_at", "started_at", true}, {"storage to end", "left_storage_at", "ended_at", true},
}

// minutes are what a unit took for a step; ok is false where a time is missing or was
// told as a date alone.
func (s step) minutes(u row) (took float64, ok bool) {
	from := s.from
	if from == "left_storage_at" && u[from] == "" {
		from = "issued_at"
	}
	a, okA := onClock(u, from)
	b, okB := onClock(u, s.to)
	return b.Sub(a).Minutes(), okA && okB && (!s.given || bagGiven(u))
}

// times recomputes both figures of how long plasma took.
func (d *rows) times(want map[string]wanted) {
	const limit = 240 // storage_to_end_h; the demo sets no other limit
	byMonth := map[string][]row{}
	for _, u := range pick(d.issues, isIn("component", "plasma"), hasAny("issued_at")) {
		byMonth[d.monthOf(u, "issued_at")] = append(byMonth[d.monthOf(u, "issued_at")], u)
	}
	took := func(s step, units []row) (all []float64) {
		for _, u := range units {
			if x, ok := s.minutes(u); ok {
				all = append(all, x)
			}
		}
		return all
	}
	middle := func(s step, units []row, decimals int) figured {
		_, median, _ := quartiles(took(s, units))
		return figured{median, decimals}
	}
	var now, before []row
	for _, month := range d.months {
		if d.isNow(month) {
			now = append(now, byMonth[month]...)
		} else {
			before = append(before, byMonth[month]...)
		}
	}
	w := wanted{heads: []string{"Step", "Units with both times", "Lower quartile, min", "Median, min", "Upper quartile, min", "Limit, min", "Beyond the limit", "Share beyond", "Lack a time"}}
	late, ended := 0, 0
	for _, s := range steps {
		all := took(s, now)
		low, median, high := quartiles(all)
		may := len(now)
		if s.given {
			may = count(now, bagGiven)
		}
		cells := []any{s.label, bags(len(all)), figured{low, 1}, figured{median, 1}, figured{high, 1}}
		if s.to == "ended_at" {
			for _, x := range all {
				if x > limit {
					late++
				}
			}
			ended = len(all)
			cells = append(cells, figured{limit, 2}, persons(late), part{late, len(all)})
		} else {
			cells = append(cells, "–", "–", "–")
		}
		w.rows = append(w.rows, append(cells, bags(may-len(all))))
	}
	// Units beyond a limit are hidden where they are few, as their episodes are.
	w.says = d.share(late, ended, map[string]any{"of": bags(ended), "not_known": bags(count(now, bagGiven) - ended), "request": middle(steps[0], now, 0)})
	want["times_by_step"] = w

	asked := len(took(steps[0], now))
	want["times_by_month"] = wanted{heads: []string{"Month", "Units issued", "Request to issue, min", "Thaw to issue, min", "Issue to start, min", "Storage to end, min"},
		rows: d.byMonth(func(m string) []any {
			cells := []any{bags(len(byMonth[m]))}
			for _, s := range steps {
				cells = append(cells, middle(s, byMonth[m], 1))
			}
			return cells
		}), says: d.bagShare(asked, len(now), map[string]any{"not_known": bags(len(now) - asked), "now": middle(steps[0], now, 0), "before": middle(steps[0], before, 0)})}
}

// words writes a name of ours as the page does.
func words(name string) string { return language.English().Text(strings.ReplaceAll(name, "_", " ")) }
