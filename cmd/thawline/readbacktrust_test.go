package main

import (
	"cmp"
	"slices"
	"strings"
)

// restated compares the marks of today with those that the last pack kept, in the
// months that it showed.
func (d *rows) restated() wanted {
	const newly, gone = "not known then", "no episode of its own now"
	was, now, hash := map[string]string{}, map[string]string{}, map[string]string{}
	if d.from <= demoMonthBefore {
		// No pack lies in the store whose period ended before this one.
		return wanted{none: true, says: d.share(0, 0, nil)}
	}
	for _, r := range pick(d.said, isIn("period", demoMonthBefore)) {
		was[r["episode_id"]], hash[r["episode_id"]] = r["mark"], r["policy_hash"]
	}
	moved := map[[3]string]int{}
	changed, fresh := 0, 0
	for _, e := range d.episodes {
		id := e["episode_id"]
		now[id] = e["mark"]
		why := "records that came since"
		before, known := was[id]
		switch {
		case !known && e["month"] <= demoMonthBefore:
			before = newly
			fresh++
		case !known || before == e["mark"]:
			continue
		default:
			changed++
			if hash[id] != e["policy_hash"] {
				why = "other policy values, or records that came since"
			}
		}
		moved[[3]string{before, e["mark"], why}]++
	}
	lost := 0
	for id, mark := range was {
		if now[id] == "" {
			lost++
			moved[[3]string{mark, gone, "records that came since"}]++
		}
	}
	w := wanted{heads: []string{"The last pack said", "It is now", "Why", "Episodes"},
		says: d.share(changed, len(was), map[string]any{"fresh": persons(fresh), "gone": persons(lost), "last": monthName(demoMonthBefore)})}
	var kinds [][3]string
	for kind := range moved {
		kinds = append(kinds, kind)
	}
	slices.SortFunc(kinds, func(a, b [3]string) int { return cmp.Or(moved[b]-moved[a], slices.Compare(a[:], b[:])) })
	for _, kind := range kinds {
		w.rows = append(w.rows, []any{kind[0], kind[1], kind[2], persons(moved[kind])})
	}
	return w
}

// feeds counts the rows of each feed by the hospital's month.
func (d *rows) feeds() wanted {
	names := []string{"issues", "bedside", "labs", "measures", "bleeding", "procedures", "other events", "medicines", "activity"}
	w := wanted{heads: []string{"Month", "Issues", "Bedside", "Labs", "Measures", "Events: bleeding", "Procedures", "Others", "Medicines", "Activity"}}
	counts := make([]map[string]int, len(names))
	byMonth := func(i int, all []row, columns ...string) {
		counts[i] = map[string]int{}
		for _, r := range all {
			counts[i][d.monthOf(r, columns...)]++
		}
	}
	byMonth(0, d.issues, "issued_at", "discarded_at", "thawed_at")
	byMonth(1, d.bedside, "started_at")
	byMonth(2, pick(d.labs, isIn("derived_from", "")), "collected_at")
	byMonth(3, d.measures, "measured_at")
	byMonth(4, pick(d.events, isIn("kind", "bleeding")), "at")
	byMonth(5, pick(d.events, isIn("kind", "procedure")), "at")
	byMonth(6, pick(d.events, not(isIn("kind", "bleeding", "procedure"))), "at")
	byMonth(7, d.medicines, "given_at")
	counts[8] = map[string]int{}
	for _, r := range d.activity {
		counts[8][r["month"]]++
	}
	there := make([]bool, len(names))
	var missing, thin []string
	of, none := 0, 0
	middle := make([]float64, len(names))
	for i := range names {
		var all []float64
		for _, m := range d.months {
			all = append(all, float64(counts[i][m]))
			there[i] = there[i] || counts[i][m] > 0
		}
		_, middle[i], _ = quartiles(all)
	}
	// The latest month first.
	for _, m := range slices.Backward(d.months) {
		for _, i := range []int{8, 4, 1, 6, 0, 2, 3, 7, 5} { // by name
			if !there[i] {
				continue
			}
			of++
			switch n := float64(counts[i][m]); {
			case n == 0:
				none++
				missing = append(missing, names[i]+" "+monthName(m))
			case 2*n < middle[i]:
				thin = append(thin, names[i]+" "+monthName(m))
			}
		}
	}
	var absent []string
	for i, name := range names {
		if !there[i] {
			absent = append(absent, name)
		}
	}
	w.rows = d.byMonth(func(m string) (cells []any) {
		for i := range names {
			if there[i] {
				cells = append(cells, bags(counts[i][m]))
			} else {
				cells = append(cells, "–")
			}
		}
		return cells
	})
	// Of what there is none nothing is said.
	list := func(all []string) string { return cmp.Or(strings.Join(all, ", "), "0") }
	w.says = d.bagShare(none, of, map[string]any{"missing": list(missing), "thin": list(thin), "absent": list(absent)})
	return w
}

// agreement compares the latest word of reviewers on an episode with its mark, and
// with what chance would give by how often each said which (Cohen 1960).
func (d *rows) agreement() wanted {
	words := map[string]row{}
	for _, r := range d.reviews {
		if before, twice := words[r["episode_id"]]; !twice || r["date"] >= before["date"] {
			words[r["episode_id"]] = r
		}
	}
	read, same, saidMark, saidWord := 0, 0, map[string]int{}, map[string]int{}
	agreed := map[string]int{}
	for _, e := range d.episodes {
		word := words[e["episode_id"]]["word"]
		if word == "" || e["month"] > demoMonth {
			continue
		}
		read++
		saidMark[e["mark"]]++
		saidWord[word]++
		if word == e["mark"] {
			same++
			agreed[word]++
		}
	}
	w := wanted{says: d.share(same, read, nil), none: read == 0}
	if w.none {
		return w
	}
	w.heads = []string{"Mark", "Read by a reviewer", "Reviewer said the same", "Share"}
	for _, mark := range slices.Sorted(slices.Values(everyMark)) {
		if n := saidMark[mark]; n > 0 {
			w.rows = append(w.rows, []any{mark, persons(n), persons(agreed[mark]), part{agreed[mark], n}})
		}
	}
	chance := 0.0
	for mark, n := range saidMark {
		chance += float64(n) / float64(read) * float64(saidWord[mark]) / float64(read)
	}
	w.says["kappa"] = peopled{(float64(same)/float64(read) - chance) / (1 - chance), 2, min(same, read)}
	return w
}
