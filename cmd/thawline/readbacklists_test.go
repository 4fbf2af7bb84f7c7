package main

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/net/html"

	"thawline/internal/audit"
)

// chased are the units without a final fate, in the order of the page.
func (r *reviewers) chased(now []row) (all [][]string) {
	var open []row
	place := map[string]string{}
	for _, e := range now {
		place[e["episode_id"]] = e["location"]
		for _, u := range r.unitsOf(e) {
			if is(u, "fate", "unknown", "presumed") {
				open = append(open, u)
			}
		}
	}
	slices.SortStableFunc(open, func(a, b row) int {
		p, q := place[a["episode_id"]], place[b["episode_id"]]
		if (p == "") != (q == "") {
			return -cmp.Compare(p, q)
		}
		return cmp.Or(cmp.Compare(p, q), cmp.Compare(a["issued_at"], b["issued_at"]), cmp.Compare(a["bag"], b["bag"]))
	})
	for _, u := range open {
		all = append(all, []string{orNotRecorded(place[u["episode_id"]]), orNotRecorded(u["unit_no"]), r.clock(u, "issued_at"), orNotRecorded(u["product_code"]), code(u["fate"]), source(u)})
	}
	return all
}

// discussed are the cases that the printed rule picks, as the page writes them.
func (r *reviewers) discussed(now []row) (all []string) {
	kinds := []string{"reaction_after", "abo_incompatible", "given_to_other", "after_expiry", "thaw_overrun", "others", "volume_risk", "unsupported", "non-bleeding", "under-dosed"}
	const harms = 3
	lists := make([][]row, len(kinds))
	safety := map[string][]string{}
	for _, f := range pick(r.rows.findings, isIn("severity", "safety")) {
		if id := f["episode_id"]; !slices.Contains(safety[id], f["finding"]) {
			safety[id] = append(safety[id], f["finding"])
		}
	}
	for _, e := range now {
		first := len(kinds)
		for _, f := range append(slices.Clone(safety[e["episode_id"]]), e["mark"]) {
			at := slices.Index(kinds, f)
			if at < 0 && f != e["mark"] {
				at = slices.Index(kinds, "others")
			}
			if at >= 0 {
				first = min(first, at)
			}
		}
		if first < len(kinds) {
			lists[first] = append(lists[first], e)
		}
	}
	name := func(e row) string { return audit.Pseudonym(r.key, audit.EpisodeKind, e["episode_id"]) }
	ml := func(e row) float64 { x, _ := strconv.ParseFloat(e["delivered_ml"], 64); return x }
	for _, list := range lists {
		slices.SortFunc(list, func(a, b row) int { return cmp.Or(cmp.Compare(ml(b), ml(a)), cmp.Compare(name(a), name(b))) })
	}
	taken := make([]int, len(kinds))
	total := 0
	deal := func(from, to, each, most int) {
		for dealt := true; dealt; {
			dealt = false
			for k := from; k < to; k++ {
				for range each {
					if total < most && taken[k] < len(lists[k]) {
						taken[k]++
						total++
						dealt = true
					}
				}
			}
		}
	}
	deal(0, harms, 2, 6)
	deal(harms, len(kinds), 1, 10)
	deal(0, harms, 2, 10)
	for k := range kinds {
		for _, e := range lists[k][:taken[k]] {
			line := fmt.Sprintf("%s %s: %s (%s)", name(e), code(e["mark"]), code(e["because"]), orNotRecorded(e["location"]))
			if found := safety[e["episode_id"]]; len(found) > 0 {
				slices.Sort(found)
				var said []string
				for _, f := range found {
					said = append(said, code(f))
				}
				line += " safety: " + strings.Join(said, ", ")
			}
			all = append(all, line)
		}
	}
	return all
}

// sectionUnder is the section with that title.
func sectionUnder(root *html.Node, title string) *html.Node {
	var found *html.Node
	walk(root, func(n *html.Node) bool {
		if found == nil && n.Data == "h2" && plainText(n) == title {
			found = n.Parent
		}
		return found == nil && n.Data != "article"
	})
	return found
}

func (r *reviewers) checkLists(root *html.Node) (wrong []string) {
	var picked []string
	for _, li := range find(sectionUnder(root, discussTitle), "li", "") {
		picked = append(picked, plainText(li))
	}
	if want := r.picked; !slices.Equal(picked, want) {
		wrong = append(wrong, fmt.Sprintf("to discuss: says %q, recomputed %q", picked, want))
	}
	var open [][]string
	if tables := find(sectionUnder(root, chaseTitle), "table", ""); len(tables) > 0 {
		_, open = readTable(tables[0])
	}
	if want := r.open; fmt.Sprint(open) != fmt.Sprint(want) {
		wrong = append(wrong, fmt.Sprintf("units to be chased: says %q, recomputed %q", open, want))
	}
	return wrong
}
