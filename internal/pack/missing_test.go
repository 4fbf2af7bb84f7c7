package pack

import (
	"strings"
	"testing"

	"thawline/internal/audit"
	"thawline/internal/figure"
	"thawline/internal/policy"
)

// TestMissingMonth: a month in which a feed has no row, though it has rows of others, is
// named, and the rules that need it have no nought there.
func TestMissingMonth(t *testing.T) {
	units := func(n int64) figure.Cell { return figure.Cell{Value: n} }
	feeds := &figure.Figure{Definition: &figure.Definition{Name: "feeds_by_month", Points: []figure.Column{{Name: "month", Kind: figure.Month},
		{Name: "issues", Kind: figure.Units}, {Name: "bleeding", Kind: figure.Units}, {Name: "events", Kind: figure.Units}, {Name: "medicines", Kind: figure.Units}}}}
	for _, row := range []struct {
		month                               string
		issues, bleeding, events, medicines int64
	}{{"2026-06", 90, 3, 30, 1}, {"2026-07", 90, 0, 0, 0}, {"2026-08", 0, 0, 0, 0}, {"2026-09", 90, 2, 25, 1}} {
		feeds.Rows = append(feeds.Rows, []figure.Cell{{Value: row.month}, units(row.issues), units(row.bleeding), units(row.events), units(row.medicines)})
	}
	in := &input{from: "2026-07", to: "2026-08", policy: policy.Default(), unread: map[string]bool{"2026-08": true},
		rules: []*audit.Query{{Name: "reaction_after", Header: map[string]string{"needs": "events"}}, {Name: "late_finish", Header: map[string]string{}}, {Name: "doac", Header: map[string]string{"needs": "medicines"}}}}
	in.missing = in.missingMonths([]*figure.Figure{feeds})
	// Two rows of medicines in three months may be none in one by chance.
	if !in.missing[figure.Bleeding]["2026-07"] || !in.missing["events"]["2026-07"] || in.missing["medicines"]["2026-07"] || in.missing["events"]["2026-08"] || in.missing["events"]["2026-06"] {
		t.Errorf("missing: %v", in.missing)
	}
	if says := strings.Join(in.missingSays(), "\n"); !strings.Contains(says, "Of Jul 2026 no bleeding events were read") || !strings.Contains(says, "no other events") || strings.Contains(says, "medicines") {
		t.Errorf("it says %q", says)
	}
	label := func(text string) figure.Cell { return figure.Cell{Value: text} }
	f := &figure.Figure{Definition: &figure.Definition{Name: "safety_findings", Points: []figure.Column{{Name: "finding", Kind: figure.Label}, {Name: "period", Kind: figure.Count}, {Name: "run", Kind: figure.Label}}},
		Rows: [][]figure.Cell{{label("reaction after"), units(0), label("yes")}, {label("late finish"), units(0), label("yes")}, {label("doac"), units(0), label("yes")}}}
	in.forgetRules(f)
	if f.Rows[0][1].Value != nil || !strings.HasPrefix(f.Rows[0][2].Value.(string), "not known: no other events") || f.Rows[1][1].Value != int64(0) || f.Rows[2][1].Value != int64(0) {
		t.Errorf("rules: %v", f.Rows)
	}
	in.from = "2026-06"
	f.Rows[0][1] = units(0)
	if in.forgetRules(f); f.Rows[0][1].Value != int64(0) {
		t.Error("a nought of a period of which one month was told was taken away")
	}
	share := &figure.Figure{Definition: &figure.Definition{Name: "appropriate_by_month", Points: []figure.Column{{Name: "month", Kind: figure.Month}}}, Rows: [][]figure.Cell{{label("2026-06")}, {label("2026-07")}}}
	if note := in.missingNote(share); !strings.HasPrefix(note, "Of Jul 2026 no bleeding was read") {
		t.Errorf("the note: %q", note)
	}
	for feed := range in.missing {
		in.w("feed_" + feed)
	}
	for _, feed := range leansOn {
		in.w("missing_note_"+feed, "")
	}
}
