package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"thawline/queries"
)

// ruleText is what a rule's file says of it.
type ruleText struct{ name, says, severity string }

// ruleTexts reads the heads of the rules' files, by name.
func ruleTexts() (all []ruleText, err error) {
	entries, err := queries.FS.ReadDir("rules")
	if err != nil {
		return nil, err
	}
	for _, entry := range entries {
		text, err := queries.FS.ReadFile("rules/" + entry.Name())
		if err != nil {
			return nil, err
		}
		one := ruleText{name: strings.TrimSuffix(entry.Name(), ".sql")}
		for _, line := range strings.Split(string(text), "\n") {
			line = strings.TrimPrefix(line, "-- ")
			if rest, ok := strings.CutPrefix(line, one.name+": "); ok && one.says == "" {
				one.says = strings.TrimSuffix(rest, ".")
			}
			if rest, ok := strings.CutPrefix(line, "severity:"); ok {
				one.severity = strings.TrimSpace(rest)
			}
		}
		all = append(all, one)
	}
	return all, nil
}

// ran says whether a rule ran, as the page does, and whether it could judge anything.
func (d *rows) ran(name string) (told string, ok bool) {
	for _, r := range pick(d.rules, isIn("finding", name)) {
		if r["run"] == "true" {
			if r["judged"] == r["not_known"] {
				return "yes, with nothing to judge", false
			}
			return "yes", true
		}
		return "not run: " + r["why_not"], false
	}
	return "no", false
}

// foundOn is the day of a finding on the hospital's clock: of its episode's first
// issue, else of the issue that its key ends with.
func (d *rows) foundOn(f row, issued map[string]time.Time) (time.Time, bool) {
	at, ok := issued[f["episode_id"]]
	if f["episode_id"] == "" {
		key := strings.Split(f["key"], "|")
		var err error
		at, err = time.Parse(time.RFC3339, key[len(key)-1])
		ok = err == nil
	}
	return at.In(d.zone), ok
}

// noticed recomputes the figures of findings.
func (d *rows) noticed(now []row, want map[string]wanted) {
	texts, err := ruleTexts()
	if err != nil {
		panic(fmt.Sprintf("the rules' files: %v", err))
	}
	inPeriod, issued := map[string]bool{}, map[string]time.Time{}
	for _, e := range now {
		inPeriod[e["episode_id"]] = true
	}
	for _, e := range d.episodes {
		issued[e["episode_id"]], _ = instant(e, "first_issued_at")
	}
	byRule := map[string][]row{}
	for _, f := range d.findings {
		byRule[f["finding"]] = append(byRule[f["finding"]], f)
	}

	w := wanted{heads: []string{"Finding", "What it says", "Kind", "In " + d.period(), "Run"}}
	fired, run, idle, notRun := 0, 0, 0, 0
	type line struct {
		ruleText
		n int
	}
	var lines []line
	for _, one := range texts {
		if one.severity == "safety" {
			continue
		}
		if told, judges := d.ran(one.name); strings.HasPrefix(told, "yes") {
			if run++; !judges {
				idle++
			}
		} else {
			notRun++
		}
		n := count(byRule[one.name], func(r row) bool { return inPeriod[r["episode_id"]] })
		fired += n
		lines = append(lines, line{one, n})
	}
	// Practice before data, and in each the commonest first; the order tells nothing of
	// a small count that is hidden, so these stand by name.
	slices.SortFunc(lines, func(a, b line) int {
		return cmp.Or(-cmp.Compare(a.severity, b.severity), cmp.Compare(b.n, a.n), cmp.Compare(a.name, b.name))
	})
	for _, one := range lines {
		told, ran := d.ran(one.name)
		w.rows = append(w.rows, []any{words(one.name), one.says, one.severity, ofRule(one.n, ran), told})
	}
	w.says = map[string]any{"of": persons(fired), "period": d.period(), "rules": bags(run), "idle": bags(idle), "not_run": bags(notRun)}
	want["findings"] = w

	w = wanted{heads: []string{"Finding", "What it says", "In " + d.period(), "In " + spanName, "Run"}}
	unsafe, months, rare := map[string]bool{}, map[string]bool{}, []string{}
	days := map[string]time.Time{}
	idle, notRun = 0, 0
	for _, m := range d.months {
		months[m] = true
	}
	for _, one := range texts {
		if one.severity != "safety" {
			continue
		}
		period, year, shown := 0, 0, map[string]time.Time{}
		all := 0
		for _, f := range byRule[one.name] {
			at, ok := d.foundOn(f, issued)
			if !ok || !months[at.Format("2006-01")] {
				continue
			}
			month := at.Format("2006-01")
			all++
			shown[at.Format(time.DateOnly)] = at
			if d.isYear(month) {
				year++
			}
			if d.isNow(month) {
				period++
				unsafe[f["episode_id"]] = true
			}
		}
		told, ok := d.ran(one.name)
		if !ok && strings.HasPrefix(told, "yes") {
			idle++
		}
		if !strings.HasPrefix(told, "yes") {
			notRun++
		} else if all < len(d.months) {
			rare = append(rare, words(one.name))
			for day, at := range shown {
				days[day] = at
			}
		}
		w.rows = append(w.rows, []any{words(one.name), one.says, ofRule(period, ok), ofRule(year, ok), told})
	}
	delete(unsafe, "")
	w.says = d.share(len(unsafe), count(now, isGiven), map[string]any{"not_known": bags(notRun), "idle": bags(idle)})
	want["safety_findings"] = w

	// Days between two days with a rare finding; nothing of fewer than nine.
	w = wanted{heads: []string{"Event", "Days since the one before"}}
	var dates []string
	for day := range days {
		dates = append(dates, day)
	}
	slices.Sort(dates)
	var gaps []float64
	for i := 1; i < len(dates); i++ {
		from, _ := time.Parse(time.DateOnly, dates[i-1])
		to, _ := time.Parse(time.DateOnly, dates[i])
		gaps = append(gaps, to.Sub(from).Hours()/24)
		w.rows = append(w.rows, []any{fmt.Sprint(i), figured{gaps[i-1], 2}})
	}
	_, median, _ := quartiles(gaps)
	w.says = map[string]any{"events": persons(len(dates)), "months": bags(len(d.months)), "median": peopled{median, 2, len(dates)}, "rules": strings.Join(rare, ", ")}
	if len(dates) < 9 {
		w.rows = nil
	}
	want["safety_gaps"] = w
}

// ofRule is how often a rule fired, a dash where it did not run.
func ofRule(n int, ran bool) any {
	if !ran {
		return "–"
	}
	return persons(n)
}
