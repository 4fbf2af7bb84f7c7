package pack

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"thawline/internal/audit"
	"thawline/internal/engine"
	"thawline/internal/figure"
	"thawline/internal/site"
	"thawline/queries"
)

func date(t *testing.T, text string) time.Time {
	t.Helper()
	d, err := time.Parse(time.DateOnly, text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestDecisionsAreTold(t *testing.T) {
	in := fabricate(t, 900)
	in.decided = []site.Decision{
		{Date: date(t, "2025-06-01"), Done: date(t, "2025-09-15"), Decision: "Teach <b>weight</b>", Owner: "chair", Figure: "appropriate_by_month"},
		{Date: date(t, "2026-06-01"), Due: date(t, "2026-09-01"), Decision: "Thaw later", Owner: "blood bank", Figure: "waste_by_month"},
		{Date: date(t, "2026-07-01"), Due: date(t, "2026-12-01"), Done: date(t, "2026-11-20"), Decision: "Ask theatres", Owner: "chair"},
		{Date: date(t, "2026-11-01"), Decision: "After the report date", Owner: "chair"},
	}
	committee, _, _ := made(t, in)
	_, section, _ := strings.Cut(committee, "What earlier meetings decided")
	section, today, _ := strings.Cut(section, "Decided today")
	section = unlabelled(section)
	for _, want := range []string{
		"Teach &lt;b&gt;weight&lt;/b&gt;", "<td class=\"whole\">2025-09-15</td><td>Is the share of appropriate episodes changing?</td>", "ot moved beyond chance since it was done (difference ", " months)</td>",
		"<b>overdue</b>", "Too few months to say: 12 before and 3 since the decision, where eight a side are wanted.",
		"<td class=\"whole\">open</td>", "It aims at no figure of this pack.",
	} {
		if !strings.Contains(section, want) {
			t.Errorf("the section does not hold %q:\n%s", want, section)
		}
	}
	if strings.Contains(committee, "After the report date") {
		t.Error("a decision made after the report date is told")
	}
	if strings.Count(today, "&nbsp;") < 3 {
		t.Error("no lines are left blank for today")
	}
	in.decided = nil
	if committee, _, _ = made(t, in); !strings.Contains(committee, "None are written in decisions.yaml") {
		t.Error("a site without decisions is not told how to write them")
	}
}

// TestAgreementIsCohens holds the query of figure reviews against tables of two
// raters: 20 5 10 15 gives 0.4000 (an example printed widely; from memory),
// 15 5 10 70 gives 0.5714 (Viera and Garrett 2005, Fam Med 37:360, 0.57; from
// memory), 85 5 5 5 gives 0.4444 with agreement 0.90 (worked by hand: chance
// 0.82), and the table of three 0.4915 (worked by hand: 0.70 and 0.41).
func TestAgreementIsCohens(t *testing.T) {
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	defined, err := figure.Load(queries.FS, "figures", "queries/figures")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		table [][]int
		kappa float64
	}{
		{[][]int{{20, 5}, {10, 15}}, 0.4000},
		{[][]int{{15, 5}, {10, 70}}, 0.5714},
		{[][]int{{85, 5}, {5, 5}}, 0.4444},
		{[][]int{{44, 5, 1}, {7, 20, 3}, {9, 5, 6}}, 0.4915},
	} {
		words := []string{"appropriate", "under-dosed", "unsupported"}
		var episodes, reviewed []string
		agreed, n := 0, 0
		for i, row := range c.table {
			for j, count := range row {
				for range count {
					n++
					if i == j {
						agreed++
					}
					episodes = append(episodes, fmt.Sprintf("('e%d', '2026-01', '%s')", n, words[i]))
					reviewed = append(reviewed, fmt.Sprintf("('e%d', '%s')", n, words[j]))
				}
			}
		}
		if err := e.Exec(ctx, "raters", "CREATE OR REPLACE TABLE episodes AS SELECT * FROM (VALUES "+strings.Join(episodes, ", ")+") AS v(episode_id, month, mark);"+
			"CREATE OR REPLACE TABLE reviewed AS SELECT * FROM (VALUES "+strings.Join(reviewed, ", ")+") AS v(episode_id, word);"+
			"CREATE OR REPLACE TABLE period AS SELECT '2026-01' AS to_month"); err != nil {
			t.Fatal(err)
		}
		f, err := defined["reviews"].Run(ctx, e)
		if err != nil {
			t.Fatal(err)
		}
		kappa, _ := f.Values["kappa"].Value.(float64)
		if math.Abs(kappa-c.kappa) > 5e-5 || f.Values["n"].Value != int64(agreed) || f.Values["of"].Value != int64(n) {
			t.Errorf("%v: kappa %v, %v of %v; wanted %v, %d of %d", c.table, kappa, f.Values["n"].Value, f.Values["of"].Value, c.kappa, agreed, n)
		}
	}
}

func TestReviewersWords(t *testing.T) {
	ctx := context.Background()
	in := fabricate(t, 400)
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	if err := in.load(ctx, e); err != nil {
		t.Fatal(err)
	}
	_, rows, err := e.Rows(ctx, "test", "SELECT episode_id, mark FROM episodes WHERE month <= '2026-09' ORDER BY episode_id LIMIT 40")
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range rows {
		one := site.Review{Line: i + 2, Episode: audit.Pseudonym(in.key, audit.EpisodeKind, r[0].(string)), Word: r[1].(string), Date: date(t, "2026-10-01")}
		if i < 10 {
			one.Word = "set-apart"
			if r[1] == one.Word {
				one.Word = "wasted"
			}
		}
		in.reviews = append(in.reviews, one)
	}
	// A later word holds, one after the report date does not count yet.
	again := in.reviews[0]
	again.Word, again.Date = rows[0][1].(string), date(t, "2026-10-05")
	early := in.reviews[20]
	early.Word, early.Date = "wasted", date(t, "2026-10-21")
	in.reviews = append(in.reviews, again, early)
	committee, _, _ := made(t, in)
	if want := "Reviewers have read 40 episodes so far and said the same as the mark in 31 of them (78\u00a0%"; !strings.Contains(committee, want) {
		t.Errorf("the pack does not say %q", want)
	}
	in.site = &site.Site{Dir: "/invented"}
	in.reviews = append(in.reviews, site.Review{Line: 44, Episode: "ffffffffff", Word: "wasted", Date: date(t, "2026-10-01")})
	if err := in.load(ctx, e); err == nil || !strings.Contains(err.Error(), "/invented/reviews.csv:44:1: episode: no episode of this store has that number") || strings.Contains(err.Error(), "ffffffffff") {
		t.Errorf("an episode that nobody knows: %v", err)
	}
}
