package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"thawline/internal/audit"
	"thawline/internal/contract"
	language "thawline/internal/words"
)

// What cases.html says of each episode is read back here and compared with the rows
// of the store, by other code than the pack's.

// reviewers are the rows that the reviewers' page speaks of.
type reviewers struct {
	*rows
	key []byte
	// Of each episode.
	units, evidence, findings map[string][]row
	// What the lists must say, which is asked for again and again.
	picked []string
	open   [][]string
	// results and weights are those of the period's patients, by patient, test and
	// time; by patient and time.
	results, weights map[string][]row
}

func readReviewers(t *testing.T, site string) *reviewers {
	t.Helper()
	r := &reviewers{rows: readRows(t, site), results: map[string][]row{}, weights: map[string][]row{}}
	_, st := openSite(t, site, false)
	defer st.Close()
	var err error
	if r.key, err = st.Key(); err != nil {
		t.Fatal(err)
	}
	for _, one := range []struct {
		all []row
		by  *map[string][]row
	}{{r.rows.units, &r.units}, {r.rows.evidence, &r.evidence}, {r.rows.findings, &r.findings}} {
		*one.by = map[string][]row{}
		for _, of := range one.all {
			(*one.by)[of["episode_id"]] = append((*one.by)[of["episode_id"]], of)
		}
	}
	now := pick(r.episodes, isIn("month", demoMonth))
	r.picked, r.open = r.discussed(now), r.chased(now)
	for _, one := range table(t, site, "SELECT patient_id, test, collected_at, value, bound, coalesce(point_of_care, false) AS near, source_file, source_row FROM labs") {
		key := strings.Join([]string{one["patient_id"], one["test"], one["collected_at"], one["near"]}, "|")
		r.results[key] = append(r.results[key], one)
	}
	for _, one := range table(t, site, "SELECT patient_id, measured_at, value, method, source_file, source_row FROM measures WHERE kind = 'weight'") {
		key := one["patient_id"] + "|" + one["measured_at"]
		r.weights[key] = append(r.weights[key], one)
	}
	return r
}

func (r *reviewers) clock(of row, column string) string {
	at, ok := instant(of, column)
	if !ok {
		return "–"
	}
	return at.In(r.zone).Format("2006-01-02 15:04")
}

// inDigits writes a cell that is a number, to three decimals at most.
func inDigits(cell string) string {
	x, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		return "–"
	}
	return decimal(x, 3)
}

// code writes a code in words.
func code(cell string) string {
	if cell == "" {
		return "–"
	}
	return language.English().Text(strings.ReplaceAll(cell, "_", " "))
}

func orNotRecorded(cell string) string {
	if cell == "" {
		return "not recorded"
	}
	return cell
}

func source(of row) string { return of["source_file"] + " row " + of["source_row"] }

// shownFacts are the facts of an episode that the page tells where they are known.
var shownFacts = []string{"outcome", "basis", "coagulopathy", "shown_by", "alternative", "dose_band", "course", "population", "weight_kg", "delivered_ml", "dose", "dose_possible",
	"inr_before", "inr_before_bound", "inr_before_hours", "inr_after", "inr_after_bound", "pt_ratio_before", "aptt_ratio_before", "fibrinogen_before", "fibrinogen_before_bound",
	"hb_before", "platelets_before", "change_inr", "expected_change_inr", "shortfall_units", "mark_recorded", "policy_hash"}

// fact writes what a column says.
func fact(column, cell string) string {
	if column == "shown_by" || column == "tests" {
		var all []string
		for _, one := range strings.Fields(cell) {
			all = append(all, language.English().Fact(one))
		}
		return strings.Join(all, ", ")
	}
	if c := contract.Episodes.Column(column); c != nil && c.Kind == contract.Text {
		return code(cell)
	}
	return inDigits(cell)
}

// facts are the lines of the values that decided.
func (r *reviewers) facts(e row) (all []string) {
	for _, column := range shownFacts {
		if e[column] != "" {
			all = append(all, language.English().Fact(column)+" = "+fact(column, e[column]))
		}
	}
	return all
}

func (r *reviewers) evidenceOf(e row) (all []string) {
	for _, one := range r.evidence[e["episode_id"]] {
		line := fmt.Sprintf("%s (%s), %s", code(one["source"]), code(one["strength"]), r.clock(one, "at"))
		if one["detail"] != "" {
			detail := code(one["detail"])
			if one["source"] == "red_cells" || one["source"] == "hb_fall" {
				detail = inDigits(one["detail"])
			}
			line += ", " + detail
		}
		if one["source_file"] != "" {
			line += " · " + source(one)
		}
		all = append(all, line)
	}
	return all
}

// recordsOf are the sources of the tests and the weight that an episode was judged on.
func (r *reviewers) recordsOf(e row) (all []string) {
	for _, test := range contract.BeforeAfterTests {
		for _, side := range []string{"before", "after"} {
			at := test + "_" + side
			if e[at+"_at"] == "" {
				continue
			}
			near := cmp.Or(e[at+"_point_of_care"], "false")
			for _, one := range r.results[strings.Join([]string{e["patient_id"], test, e[at+"_at"], near}, "|")] {
				value := inDigits(one["value"])
				if one["bound"] != "" {
					value = code(one["bound"]) + " " + value
				}
				all = append(all, fmt.Sprintf("%s: %s, %s · %s", language.English().Fact(at), value, r.clock(one, "collected_at"), source(one)))
			}
		}
	}
	if e["weight_at"] != "" {
		for _, one := range r.weights[e["patient_id"]+"|"+e["weight_at"]] {
			value := inDigits(one["value"])
			if one["method"] != "" {
				value = code(one["method"]) + " " + value
			}
			all = append(all, fmt.Sprintf("%s: %s, %s · %s", language.English().Fact("weight"), value, r.clock(one, "measured_at"), source(one)))
		}
	}
	return all
}

// findingsOf are an episode's findings with their numbers; several units may have the
// same.
func (r *reviewers) findingsOf(t *testing.T, e row) (all []string) {
	t.Helper()
	for _, one := range r.findings[e["episode_id"]] {
		var proof []string
		names := regexp.MustCompile(`"([a-z0-9_]+)":`).FindAllStringSubmatch(one["numbers"], -1)
		var values map[string]any
		if err := json.Unmarshal([]byte(one["numbers"]), &values); err != nil || len(names) != len(values) {
			t.Fatalf("the numbers of %s: %v", one["finding"], err)
		}
		for _, name := range names {
			said := "not known"
			switch v := values[name[1]].(type) {
			case float64:
				said = decimal(v, 3)
			case bool:
				said = map[bool]string{true: "yes", false: "no"}[v]
			case string:
				if _, isTime := instant(row{"at": v}, "at"); isTime {
					said = r.clock(row{"at": v}, "at")
				} else {
					said = fact(name[1], v)
					if name[1] != "shown_by" && name[1] != "tests" {
						said = code(v)
					}
				}
			}
			proof = append(proof, language.English().Fact(name[1])+": "+said)
		}
		line := fmt.Sprintf("%s (%s): %s", code(one["finding"]), code(one["severity"]), strings.Join(proof, "; "))
		if !slices.Contains(all, line) {
			all = append(all, line)
		}
	}
	return all
}

func (r *reviewers) unitsOf(e row) []row {
	all := slices.Clone(r.units[e["episode_id"]])
	slices.SortStableFunc(all, func(a, b row) int {
		if none := cmp.Compare(a["issued_at"], b["issued_at"]); (a["issued_at"] == "") != (b["issued_at"] == "") {
			return -none // A unit without a time comes last.
		}
		return cmp.Or(cmp.Compare(a["issued_at"], b["issued_at"]), cmp.Compare(a["bag"], b["bag"]))
	})
	return all
}

func (r *reviewers) unitLines(e row) (all []string) {
	for _, u := range r.unitsOf(e) {
		all = append(all, strings.Join([]string{orNotRecorded(u["product_code"]), code(u["fate"]), r.clock(u, "issued_at"), r.clock(u, "begin"), r.clock(u, "finish"),
			code(u["times_basis"]), inDigits(u["volume"]), inDigits(u["given_ml"]), source(u)}, " | "))
	}
	return all
}

// drawing says what stands at which place of a time line: units, tests and evidence.
func (r *reviewers) drawing(e row) (all []string) {
	var times []time.Time
	see := func(of row, column string) (time.Time, bool) {
		at, ok := instant(of, column)
		if ok {
			times = append(times, at)
		}
		return at, ok
	}
	units := r.unitsOf(e)
	for _, u := range units {
		see(u, "issued_at")
		see(u, "begin")
		if u["given"] == "true" {
			see(u, "finish")
		}
	}
	if len(times) == 0 {
		return nil
	}
	tests := map[time.Time]bool{}
	for _, column := range []string{"inr_before_at", "inr_after_at", "fibrinogen_before_at"} {
		if at, ok := see(e, column); ok {
			tests[at] = true
		}
	}
	var seen []time.Time
	for _, one := range r.evidence[e["episode_id"]] {
		if at, ok := see(one, "at"); ok {
			seen = append(seen, at)
		}
	}
	first := slices.MinFunc(times, time.Time.Compare)
	span := max(1, slices.MaxFunc(times, time.Time.Compare).Sub(first).Seconds())
	x := func(at time.Time) float64 { return 20 + 660*at.Sub(first).Seconds()/span }
	for _, u := range units {
		issued, hasIssued := instant(u, "issued_at")
		begin, _ := instant(u, "begin")
		finish, _ := instant(u, "finish")
		switch {
		case u["given"] == "true":
			all = append(all, fmt.Sprintf("bar %.1f %.1f", x(begin), math.Max(2, x(finish)-x(begin))))
		case hasIssued:
			all = append(all, fmt.Sprintf("square %.1f", x(issued)))
		}
	}
	for at := range tests {
		all = append(all, fmt.Sprintf("circle %.1f", x(at)))
	}
	for _, at := range seen {
		all = append(all, fmt.Sprintf("diamond %.1f", x(at)))
	}
	return all
}

// drawn reads the same out of a page.
func drawn(svg *html.Node) (all []string) {
	for _, n := range find(svg, "rect", "") {
		if attr(n, "fill") == "none" {
			all = append(all, fmt.Sprintf("square %.1f", float(attr(n, "x"))))
		} else {
			all = append(all, fmt.Sprintf("bar %.1f %.1f", float(attr(n, "x")), float(attr(n, "width"))))
		}
	}
	for _, n := range find(svg, "circle", "") {
		all = append(all, fmt.Sprintf("circle %.1f", float(attr(n, "cx"))))
	}
	for _, n := range find(svg, "path", "") {
		x, _, _ := strings.Cut(strings.TrimPrefix(attr(n, "d"), "M"), " ")
		all = append(all, fmt.Sprintf("diamond %.1f", float(x)))
	}
	return all
}

// check compares an episode's article with its rows and lists what differs.
func (r *reviewers) check(t *testing.T, a *html.Node, e row) (wrong []string) {
	same := func(what string, said, want []string) {
		said, want = slices.Sorted(slices.Values(said)), slices.Sorted(slices.Values(want))
		if !slices.Equal(said, want) {
			wrong = append(wrong, fmt.Sprintf("%s: %s: says %q, recomputed %q", attr(a, "id"), what, said, want))
		}
	}
	name := audit.Pseudonym(r.key, audit.EpisodeKind, e["episode_id"])
	same("head", []string{attr(a, "id"), attr(a, "data-mark"), plainText(find(a, "h3", "")[0])}, []string{"e-" + name, e["mark"], name + " " + code(e["mark"])})
	var lists [3][]string
	var prose []string
	titles := []string{"Bleeding evidence", "Tests and weight it was judged on", "Findings"}
	for n := a.FirstChild; n != nil; n = n.NextSibling {
		switch {
		case n.Data == "p" && attr(n, "class") != "word":
			text := plainText(n)
			if i := slices.Index(titles, text); i >= 0 {
				for n.Data != "ul" {
					n = n.NextSibling
				}
				for _, one := range find(n, "li", "") {
					lists[i] = append(lists[i], plainText(one))
				}
				continue
			}
			prose = append(prose, text)
		}
	}
	want := []string{fmt.Sprintf("%s (row %s of the decision table)", code(e["because"]), e["mark_row"]),
		fmt.Sprintf("Patient %s · begun %s · %s · %s", audit.Pseudonym(r.key, audit.PatientKind, e["patient_id"]), r.clock(e, "t0"), orNotRecorded(e["location"]), orNotRecorded(e["specialty"]))}
	evidence := r.evidenceOf(e)
	if len(evidence) == 0 {
		// The demonstration has a feed of events in every month.
		said := map[string]string{"none_found": "No bleeding evidence found.", "procedure_low": "No bleeding evidence found.", "not_known": "Whether there was bleeding is not known: no feed would have shown it."}
		want = append(want, cmp.Or(said[e["basis"]], "No bleeding is recorded."))
	}
	same("sentences", prose, want)
	same("evidence", lists[0], evidence)
	same("records", lists[1], r.recordsOf(e))
	same("findings", lists[2], r.findingsOf(t, e))
	var facts, units []string
	for _, one := range find(find(a, "dl", "facts-list")[0], "div", "") {
		facts = append(facts, plainText(find(one, "dt", "")[0])+" = "+plainText(find(one, "dd", "")[0]))
	}
	same("facts", facts, r.facts(e))
	_, cells := readTable(find(a, "table", "dense")[0])
	for _, row := range cells {
		units = append(units, strings.Join(row, " | "))
	}
	same("units", units, r.unitLines(e))
	if svg := find(a, "svg", ""); len(svg) > 0 {
		same("time line", drawn(svg[0]), r.drawing(e))
	} else if len(r.drawing(e)) > 0 {
		wrong = append(wrong, name+" has no time line")
	}
	return wrong
}

// casesOf are the articles of a page by the episode that they name.
func (r *reviewers) casesOf(t *testing.T, root *html.Node) map[string]*html.Node {
	t.Helper()
	articles := map[string]*html.Node{}
	for _, a := range find(root, "article", "case") {
		articles[strings.TrimPrefix(attr(a, "id"), "e-")] = a
	}
	return articles
}

const discussTitle, chaseTitle = "Cases to discuss first", "Units without a final fate"

// TestCasesAreReadBack reads what the demonstration's cases.html says of every
// episode, and of whom to discuss and what to chase; then it changes each number of
// some episodes, and moves what their time lines show: each must be noticed.
func TestCasesAreReadBack(t *testing.T) {
	site := demoSite(t)
	r := readReviewers(t, site)
	root, err := html.Parse(strings.NewReader(readFile(t, filepath.Join(filepath.Dir(site), "store", "packs", demoMonth, "cases.html"))))
	if err != nil {
		t.Fatal(err)
	}
	now := pick(r.episodes, isIn("month", demoMonth))
	articles := r.casesOf(t, root)
	if len(articles) != len(now) || len(now) == 0 {
		t.Errorf("%d episodes on the page, %d in the month", len(articles), len(now))
	}
	tried, kinds := 0, map[string]int{}
	for _, e := range now {
		a := articles[audit.Pseudonym(r.key, audit.EpisodeKind, e["episode_id"])]
		if a == nil {
			t.Fatalf("an episode of the month does not stand on the page")
		}
		for _, wrong := range r.check(t, a, e) {
			t.Error(wrong)
		}
		if kinds[e["mark"]]++; kinds[e["mark"]] <= 2 {
			tried += alteredIn(t, a, func() bool { return len(r.check(t, a, e)) > 0 })
		}
	}
	for _, wrong := range r.checkLists(root) {
		t.Error(wrong)
	}
	for _, title := range []string{discussTitle, chaseTitle} {
		s := sectionUnder(root, title)
		if s == nil {
			t.Fatalf("no section %q", title)
		}
		for _, part := range append(find(s, "ol", ""), find(s, "tbody", "")...) {
			tried += alteredIn(t, part, func() bool { return len(r.checkLists(root)) > 0 })
		}
	}
	if t.Logf("%d episodes, %d changes", len(now), tried); tried < 200 {
		t.Errorf("only %d changes were tried", tried)
	}
}

// alteredIn changes each number under a node, in its texts and in the places of what
// is drawn, and says how many; each must be noticed.
func alteredIn(t *testing.T, under *html.Node, noticed func() bool) (tried int) {
	t.Helper()
	walk(under, func(n *html.Node) bool {
		if n.Type == html.ElementNode && (n.Data == "title" || n.Data == "text" || n.Data == "line") {
			return false // Words and the axis of a time line tell what stands in the lists.
		}
		if n.Type == html.TextNode {
			said := n.Data
			for _, other := range altered(said) {
				n.Data = other
				if tried++; !noticed() {
					t.Errorf("nobody noticed %q for %q", other, said)
				}
			}
			n.Data = said
		}
		for i := range n.Attr {
			if name := n.Attr[i].Key; n.Data != "rect" && n.Data != "circle" && n.Data != "path" || name != "x" && name != "cx" && name != "width" && name != "d" || name == "width" && attr(n, "fill") == "none" {
				continue
			}
			was := n.Attr[i].Val
			n.Attr[i].Val = altered(was)[0]
			if tried++; !noticed() {
				t.Errorf("nobody noticed a shape that moved from %s to %s", was, n.Attr[i].Val)
			}
			n.Attr[i].Val = was
		}
		return true
	})
	return tried
}

// TestIndexIsReadBack holds every line of index.html against the tiles of the pack
// that it leads to, which are themselves read back.
func TestIndexIsReadBack(t *testing.T) {
	store := filepath.Join(filepath.Dir(demoSite(t)), "store")
	root, err := html.Parse(strings.NewReader(readFile(t, filepath.Join(store, "packs", "index.html"))))
	if err != nil {
		t.Fatal(err)
	}
	packs, err := filepath.Glob(filepath.Join(store, "packs", "*", "committee.html"))
	if err != nil {
		t.Fatal(err)
	}
	heads, lines := readTable(find(root, "table", "")[0])
	if len(lines) != len(packs) || len(lines) == 0 {
		t.Errorf("%d lines for %d packs", len(lines), len(packs))
	}
	for i, a := range find(root, "a", "") {
		pack := readPack(t, readFile(t, filepath.Join(store, "packs", filepath.FromSlash(attr(a, "href")))))
		if len(pack.tiles) != len(heads)-3 {
			t.Errorf("%s: %d tiles, %d columns", attr(a, "href"), len(pack.tiles), len(heads)-3)
		}
		for c, head := range heads[3:] {
			tile, there := pack.tiles[head]
			if want := strings.TrimSpace(tile[0] + " " + tile[1]); !there || strings.TrimSpace(lines[i][c+3]) != want && strings.ReplaceAll(lines[i][c+3], " ", "") != strings.ReplaceAll(want, " ", "") {
				t.Errorf("%s, %s: says %q, its tile %q", lines[i][0], head, lines[i][c+3], want)
			}
		}
	}
}
