package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

func (d *rows) useByProduct(of []row) wanted {
	w := wanted{heads: []string{"Kind of plasma", "Given", "Presumed given", "Thrown away", "Returned", "Transferred or unknown"}}
	var kinds []string
	for _, b := range of {
		if !slices.Contains(kinds, b["product"]) {
			kinds = append(kinds, b["product"])
		}
	}
	slices.SortFunc(kinds, func(a, b string) int {
		if (a == "") != (b == "") {
			return map[bool]int{true: 1, false: -1}[a == ""]
		}
		return cmp.Compare(a, b)
	})
	most, best, given, unstated := "", 0, 0, 0
	for _, kind := range kinds {
		some := pick(of, isIn("product", kind))
		label := strings.ReplaceAll(kind, "_", " ")
		if kind == "" {
			label, unstated = "not stated", count(some, bagGiven)
		}
		if n := count(some, bagGiven); n > best || n == best && label > most {
			most, best = label, n
		}
		given += count(some, bagGiven)
		w.rows = append(w.rows, append([]any{label}, fateCells(some)...))
	}
	w.says = d.bagShare(best, given, map[string]any{"most": most, "not_known": bags(unstated)})
	return w
}

// waste recomputes the figures of what was thrown away.
func (d *rows) waste(used func([]row) []row, want map[string]wanted) {
	now := pick(d.bags, d.inPeriod)
	lost := pick(used(now), bagLost)
	avoidable := isIn("avoidable", "true")
	noReason := not(hasAny("reason"))
	reasons := wanted{heads: []string{"Reason", "Bags"}, says: d.bagShare(count(lost, avoidable), len(lost), map[string]any{"not_known": bags(count(lost, noReason))})}
	for _, one := range ranked(lost, func(r row) []string { return []string{cmp.Or(r["reason"], "~")} }) {
		label := strings.ReplaceAll(strings.Replace(one[0].(string), "~", "no reason recorded", 1), "_", " ")
		if label == "patient died" {
			label = "for a patient who died"
		}
		reasons.rows = append(reasons.rows, []any{label, bags(one[1].(persons))})
	}
	want["waste_by_reason"] = reasons

	fate := wanted{heads: []string{"Hours after the thaw", "Given, presumed too", "Thrown away", "Returned"}}
	timed := hasAny("hours_thaw_to_fate")
	for _, band := range []struct {
		label    string
		over, to float64
	}{{"to 1", math.Inf(-1), 1}, {"1 to 2", 1, 2}, {"2 to 4", 2, 4}, {"4 to 8", 4, 8}, {"8 to 24", 8, 24}, {"24 to 72", 24, 72}, {"72 to 120", 72, 120}, {"over 120", 120, math.Inf(1)}} {
		some := pick(now, timed, func(r row) bool {
			h := float(r["hours_thaw_to_fate"])
			return h > band.over && h <= band.to
		})
		fate.rows = append(fate.rows, []any{band.label, bags(count(some, bagGiven)), bags(count(some, bagLost)), bags(count(some, isIn("fate", "returned")))})
	}
	within := count(now, timed, func(r row) bool { return float(r["hours_thaw_to_fate"]) <= 4 })
	late := pick(now, timed, func(r row) bool {
		life := 24.0
		if r["product"] == "thawed" {
			life = 120
		}
		return float(r["hours_thaw_to_fate"]) > life
	})
	fate.says = d.bagShare(within, count(now, timed), map[string]any{"not_known": bags(count(now, not(timed), not(frozen))),
		"beyond": bags(len(late)), "beyond_given": bags(count(late, bagGiven)), "life": figured{24, 1}, "life_thawed": figured{120, 1}})
	want["thaw_to_fate"] = fate

	// Thrown away, or given in episodes marked non-bleeding or unsupported, at the demo's price.
	without := map[string]string{}
	for _, e := range pick(d.episodes, d.inPeriod, isIn("mark", "non-bleeding", "unsupported")) {
		without[e["episode_id"]] = e["mark"]
	}
	given := map[string]int{}
	for _, u := range d.units {
		if u["given"] == "true" && without[u["episode_id"]] != "" {
			given[without[u["episode_id"]]]++
		}
	}
	all := given["non-bleeding"] + given["unsupported"]
	want["avoidable"] = wanted{heads: []string{"What", "Units"},
		rows: [][]any{{"thrown away", bags(len(lost))}, {"given, marked unsupported", bags(given["unsupported"])}, {"given, marked non-bleeding", bags(given["non-bleeding"])}},
		says: d.bagShare(len(lost)+all, len(used(now)), map[string]any{"discarded": bags(len(lost)), "given": bags(all)})}

	kinds := []string{"expired_after_thaw", "out_of_temperature", "no_longer_needed", "wrong_unit", "patient_died", "readiness_stock"}
	lostIn := func(is func(row) bool) []row { return pick(used(pick(d.bags, is)), bagLost) }
	before := lostIn(func(r row) bool { return r["month"] >= d.months[0] && r["month"] < d.from })
	want["waste_reasons_by_month"] = wanted{heads: []string{"Month", "Expired after thaw", "Out of temperature", "No longer needed", "Wrong unit", "For a patient who died", "Readiness stock", "Damaged, recalled, other", "No reason recorded"}, rows: d.byMonth(func(m string) []any {
		some := lostIn(inMonth(m))
		var cells []any
		for _, kind := range kinds {
			cells = append(cells, bags(count(some, isIn("reason", kind))))
		}
		return append(cells, bags(count(some, isIn("reason", "damaged", "recall", "other"))), bags(count(some, noReason)))
	}), says: d.bagShare(count(lost, avoidable), len(lost), map[string]any{"before": bags(len(before)), "before_avoidable": bags(count(before, avoidable)), "not_known": bags(count(lost, noReason))})}

	year := used(pick(d.bags, d.inYear))
	clock := func(r row) (time.Time, bool) {
		t, err := time.Parse("2006-01-02T15:04:05Z", strings.Replace(r["thawed_local"], " ", "T", 1))
		if err != nil {
			t, err = time.Parse("2006-01-02T15:04:05", strings.Replace(r["thawed_local"], " ", "T", 1))
		}
		return t, err == nil
	}
	atHour := func(hours ...int) func(row) bool {
		return func(r row) bool {
			t, ok := clock(r)
			return ok && t.Format("15:04:05") != "00:00:00" && slices.Contains(hours, t.Hour())
		}
	}
	byHour := wanted{heads: []string{"Hour of the thaw", "Given, presumed too", "Thrown away", "Share thrown away"}}
	var night, day []int
	for h := range 24 {
		some := pick(year, atHour(h))
		byHour.rows = append(byHour.rows, []any{fmt.Sprint(h), bags(count(some, bagGiven)), bags(count(some, bagLost)), bagPart{count(some, bagLost), len(some)}})
		if h >= 20 || h < 8 {
			night = append(night, h)
		} else {
			day = append(day, h)
		}
	}
	byHour.says = d.bagShare(count(year, bagLost, atHour(night...)), count(year, atHour(night...)), map[string]any{
		"day_lost": bags(count(year, bagLost, atHour(day...))), "day_of": bags(count(year, atHour(day...))), "not_known": bags(count(year, not(atHour(append(night, day...)...))))})
	want["waste_by_hour"] = byHour

	on := func(days ...time.Weekday) func(row) bool {
		return func(r row) bool {
			t, ok := clock(r)
			return ok && slices.Contains(days, t.Weekday())
		}
	}
	byDay := wanted{heads: []string{"Day of the thaw", "Given, presumed too", "Thrown away", "Share thrown away"}}
	week := []time.Weekday{1, 2, 3, 4, 5, 6, 0}
	for _, one := range week {
		some := pick(year, on(one))
		byDay.rows = append(byDay.rows, []any{one.String(), bags(count(some, bagGiven)), bags(count(some, bagLost)), bagPart{count(some, bagLost), len(some)}})
	}
	byDay.says = d.bagShare(count(year, bagLost, on(6, 0)), count(year, on(6, 0)), map[string]any{"week_lost": bags(count(year, bagLost, on(week[:5]...))), "week_of": bags(count(year, on(week[:5]...))), "not_known": bags(count(year, not(on(week...))))})
	want["waste_by_weekday"] = byDay
}
