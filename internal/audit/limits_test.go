package audit

import (
	"context"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/tools/txtar"

	"thawline/internal/engine"
)

// TestLimitsHaveCases makes each comparison of each query of current, episodes,
// basis, marks and rules strict where it was not, and lenient where it was strict: some
// case of the query must then come out differently, or none stands exactly on
// the limit. Comparisons that cannot matter are listed in equalAnyway.
func TestLimitsHaveCases(t *testing.T) {
	if testing.Short() {
		t.Skip("some hundred runs of the queries' cases")
	}
	tried, idle := 0, map[string]bool{}
	report := func(q *Query, m mutant, differs bool) {
		t.Helper()
		tried++
		if differs != (equalAnyway[q.Name+": "+m.now] == "") {
			if differs {
				t.Errorf("%s:%d: %s: it does matter, take it off the list", q.Path, m.line, m.was)
			} else {
				t.Errorf("%s:%d: no case stands on the limit of %s\nit may as well be %s", q.Path, m.line, m.was, m.now)
			}
		}
		idle[q.Name+": "+m.now] = true
	}
	s := newStage(t, 2)
	for _, q := range s.queries {
		cases := casesOf(t, q, markStages...)
		for _, m := range mutants(q) {
			s.queries[q.Name] = m.query
			report(q, m, slices.ContainsFunc(cases, func(archive *txtar.Archive) bool {
				got, want := s.run(t, q.Name, archive, false)
				return got != want
			}))
		}
		s.queries[q.Name] = q
	}
	current, err := currentQueries()
	if err != nil {
		t.Fatal(err)
	}
	e := currentEngine(t, 2)
	for _, q := range slices.Clone(current) {
		cases := casesOf(t, q, "1-current")
		for _, m := range mutants(q) {
			report(q, m, slices.ContainsFunc(cases, func(archive *txtar.Archive) bool {
				got, want := sqlCase(t, e, q.Name, archive, false, m.query)
				return got != want
			}))
		}
	}
	named, all := ruleHospitals(t)
	eachJudged(t, all, EpisodeTables, func(e *engine.Engine, h smallHospital) {
		for _, m := range mutants(named[h.name]) {
			got, want := ruleAnswers(t, e, m.query, h)
			report(named[h.name], m, fmt.Sprint(got) != fmt.Sprint(want))
		}
	})
	if tried < 100 {
		t.Errorf("%d comparisons tried", tried)
	}
	for what := range equalAnyway {
		if !idle[what] {
			t.Errorf("%s: there is no such comparison", what)
		}
	}
	t.Logf("%d comparisons", tried)
}

// casesOf reads the cases of a query.
func casesOf(t *testing.T, q *Query, stages ...string) []*txtar.Archive {
	t.Helper()
	var cases []*txtar.Archive
	for _, stage := range stages {
		files, _ := filepath.Glob(filepath.Join(sqlCases, stage, q.Name, "*.txtar"))
		for _, file := range files {
			archive, err := txtar.ParseFile(file)
			if err != nil {
				t.Fatal(err)
			}
			cases = append(cases, archive)
		}
	}
	return cases
}

// equalAnyway are comparisons, as they are changed, that give the same either way, and why.
var equalAnyway = map[string]string{
	"recipients: CASE WHEN measures.measured_at < dated.t0 THEN epoch_us(dated.t0) - epoch_us(measures.measured_at) ELSE epoch_us(measures.measured_at) - epoch_us(dated.t0) END,": "no distance either way",
	"episode_weights: WHEN weights_checked.measured_at >= windows.t0 AND weights_checked.measured_at <= windows.closes_at THEN 'after'":                                            "at t0 it is before, told a line above",
	"episode_weights: WHEN weights_checked.measured_at < windows.t0 THEN 'older'":                                                                                                  "at t0 it is before, told two lines above",
	"issue_groups: WHERE anchors.last_at >= anchors.anchor + minutes(10)":                                                                                                          "no row of the run is left to open another group",
	"issues: HAVING count(resolved_issues.issued_at) >= 1":                                                                                                                         "a single issue is no earlier than itself",
	"bags: HAVING count(*) >= 1": "bags of one row take the same way as the others, only slower",
}

// mutant is a query with one comparison changed.
type mutant struct {
	query    *Query
	line     int
	was, now string
}

var (
	comparison = regexp.MustCompile(` (>=|<=|>|<) `)
	between    = regexp.MustCompile(`([\w."]+) BETWEEN (\S.*?) AND (.+)`)
	opposite   = map[string]string{">=": ">", ">": ">=", "<=": "<", "<": "<="}
)

// mutants makes one of each comparison, and one of each end of a BETWEEN.
func mutants(q *Query) []mutant {
	var all []mutant
	lines := strings.Split(q.SQL, "\n")
	change := func(i int, was, now string, line string) {
		changed := slices.Clone(lines)
		changed[i] = line
		copied := *q
		copied.SQL = strings.Join(changed, "\n")
		all = append(all, mutant{&copied, i + 1, was, now})
	}
	for i, line := range lines {
		if strings.HasPrefix(strings.TrimSpace(line), "--") {
			continue
		}
		for _, at := range comparison.FindAllStringSubmatchIndex(line, -1) {
			now := line[:at[2]] + opposite[line[at[2]:at[3]]] + line[at[3]:]
			change(i, strings.TrimSpace(line), strings.TrimSpace(now), now)
		}
		at := between.FindStringSubmatchIndex(line)
		if at == nil || strings.Contains(line, "ROWS BETWEEN") {
			continue
		}
		x, low, high := line[at[2]:at[3]], line[at[4]:at[5]], line[at[6]:at[7]]
		if strings.Count(high, ")") > strings.Count(high, "(") {
			high = strings.TrimSuffix(high, ")")
		}
		for _, end := range []string{low, high} {
			now := line[:at[2]] + x + " <> " + end + " AND " + line[at[2]:]
			change(i, strings.TrimSpace(line)+" without "+end, strings.TrimSpace(now), now)
		}
	}
	return all
}

// TestRuleCasesAreComplete: of every rule a case fires and another does not, and
// one cannot be judged unless the rule says that it always can.
func TestRuleCasesAreComplete(t *testing.T) {
	rules, all := ruleHospitals(t)
	for _, h := range all {
		found := map[string]int{}
		for _, line := range strings.Split(h.want, "\n") {
			result, keys, _ := strings.Cut(line, ":")
			found[result] = len(strings.Fields(keys))
		}
		never := strings.HasPrefix(rules[h.name].Header["not known"], "never") && !strings.Contains(rules[h.name].Header["not known"], "recorded as")
		if found["fired"] == 0 || found["clear"] == 0 || never != (found["not_known"] == 0) {
			t.Errorf("%s: cases that fire %d, do not %d, cannot be judged %d; the rule says of these: %s", h.name, found["fired"], found["clear"], found["not_known"], rules[h.name].Header["not known"])
		}
	}
}

// ruleAnswers runs a rule over its case and gives the answers, and those wanted.
func ruleAnswers(t *testing.T, e *engine.Engine, rule *Query, h smallHospital) (got, want map[string][]string) {
	t.Helper()
	ctx := context.Background()
	// Rules look at which feeds there are; episodes and marks do not.
	given := h.given(t)
	if err := loadGiven(ctx, e, given); err != nil {
		t.Fatal(err)
	}
	want, got = map[string][]string{}, map[string][]string{}
	for _, line := range strings.Split(h.want, "\n") {
		result, keys, _ := strings.Cut(line, ":")
		if names := strings.Fields(keys); len(names) > 0 {
			want[result] = names
			slices.Sort(want[result])
		}
	}
	if why := missing(rule, given); why != "" {
		t.Fatalf("%s is not run over its cases: %s", rule.Name, why)
	}
	if err := Run(ctx, e, []*Query{rule}); err != nil {
		t.Fatal(err)
	}
	shown := "split_part(key, '|', 1)"
	if rule.Header["of"] == "episode" {
		shown = "(SELECT episodes.patient_id FROM episodes WHERE episodes.episode_id = key)"
	}
	_, rows, err := e.Rows(ctx, rule.Path, "SELECT "+shown+" AS name, result FROM "+engine.Name(rule.Name)+" ORDER BY ALL")
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows {
		if name, own := strings.CutPrefix(row[0].(string), h.prefix); own {
			got[row[1].(string)] = append(got[row[1].(string)], name)
		}
	}
	for _, names := range got {
		slices.Sort(names)
	}
	return got, want
}

// TestRulesAcrossTheClockChange moves the cases of every rule to nights on which
// the clock goes forward or back, so that plasma is given across the change: a
// day is 24 h and an hour 60 min all the same, and every answer stays. Los
// Angeles changed at 10:00 UTC on 9 March 2025 and at 09:00 UTC on 2 November
// (IANA time zone database).
func TestRulesAcrossTheClockChange(t *testing.T) {
	ctx := context.Background()
	angeles, err := time.LoadLocation("America/Los_Angeles")
	if err != nil {
		t.Fatal(err)
	}
	for name, by := range map[string]time.Duration{
		"forward": -24*time.Hour - 30*time.Minute,                // 09:40 to 10:30 UTC
		"back":    237*24*time.Hour - time.Hour - 20*time.Minute, // 08:50 to 09:40 UTC
	} {
		if _, before := outsideBegin.Add(by).In(angeles).Zone(); before == offsetOf(outsideBegin.Add(by+50*time.Minute).In(angeles)) {
			t.Fatalf("%s: the clock does not change while the first bag runs", name)
		}
		named, all := ruleHospitals(t)
		for i := range all {
			for table, text := range all[i].tables {
				all[i].tables[table] = moved(withDefaults(table, text), by)
			}
		}
		for _, group := range together(t, all) {
			e := caseEngine(t)
			if err := e.Zone(ctx, angeles); err != nil {
				t.Fatal(err)
			}
			for _, h := range group {
				h.fill(t, e)
			}
			if err := EpisodeTables(ctx, e, group[0].given(t)); err != nil {
				t.Fatal(err)
			}
			for _, h := range group {
				t.Run(name+"/"+h.name, func(t *testing.T) { ruleCase(t, e, named[h.name], h) })
			}
		}
	}
	withClock(t, shared)
}

func offsetOf(t time.Time) int {
	_, offset := t.Zone()
	return offset
}

var written = regexp.MustCompile(`\b\d{4}-\d\d-\d\d(T[\d:.]+Z)?`)

// moved moves each time of a table, and each date by as many days as the day
// of the plasma moves.
func moved(text string, by time.Duration) string {
	return written.ReplaceAllStringFunc(text, func(cell string) string {
		for _, form := range []string{"2006-01-02T15:04Z", "2006-01-02T15:04:05Z", "2006-01-02T15:04:05.999999Z"} {
			if at, err := time.Parse(form, cell); err == nil {
				return at.Add(by).Format("2006-01-02T15:04:05.999999Z")
			}
		}
		day, err := time.Parse(time.DateOnly, cell)
		if err != nil {
			return cell
		}
		days := outsideBegin.Add(by).Truncate(24 * time.Hour).Sub(outsideBegin.Truncate(24 * time.Hour))
		return day.Add(days).Format(time.DateOnly)
	})
}
