package pack

import (
	"os"
	"path/filepath"
	"slices"
	"testing"

	"thawline/internal/chart"
	"thawline/internal/figure"
	"thawline/internal/policy"
)

// TestWhatTurnsOnAValueBreaksWhereItChanges: of a dose floor that changes on the first
// of a month and a limit that changes within one, charts of marks know both, one of doses
// the former, and one of tests neither.
func TestWhatTurnsOnAValueBreaksWhereItChanges(t *testing.T) {
	file := filepath.Join(t.TempDir(), "policy.yaml")
	if err := os.WriteFile(file, []byte("dose_low: [{from: 2026-03-01, value: 15}]\nover_bleeding: [{from: 2026-05-16, value: 1.8}]\nunit_cost: [{from: 2026-06-01, value: 60}]\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	p, err := policy.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	in := &input{policy: p, to: "2026-10"}
	_, defined, err := panels(nil)
	if err != nil {
		t.Fatal(err)
	}
	dose := figure.Break{Month: "2026-03", Words: "dose_low 10 → 15", Day: "2026-03-01"}
	limit := figure.Break{Month: "2026-06", Mixed: "2026-05", Words: "over_bleeding 1.5 → 1.8", Day: "2026-05-16"}
	for name, want := range map[string][]figure.Break{"appropriate_by_month": {dose, limit}, "marks_by_month": {dose, limit}, "below_band_by_month": {dose}, "tested_after": nil, "waste_by_month": nil} {
		if got := in.breaks(defined[name]); !slices.Equal(got, want) {
			t.Errorf("%s: %+v, wanted %+v", name, got, want)
		}
	}
	// Lines are numbered in order of month; those of one month stand at one line, and what
	// is beyond the drawn months or after the period at none.
	in.interventions = []figure.Intervention{{Month: "2026-03", Name: "Poster", Day: "2026-03-09"}, {Month: "2025-01", Name: "Old", Day: "2025-01-01"}, {Month: "2026-12", Name: "Later", Day: "2026-12-01"}}
	f := &figure.Figure{Definition: defined["below_band_by_month"]}
	for _, m := range []string{"2026-02", "2026-03", "2026-04"} {
		f.Rows = append(f.Rows, []figure.Cell{{Value: m}})
	}
	var look chart.Look
	note := in.marked(f, figure.Panel{X: "month", Chart: "control"}, &look)
	if want := "Dashed lines: 1, 2026-03-09: Poster; 2, 2026-03-01: policy: dose_low 10 → 15."; note != want {
		t.Errorf("%q, wanted %q", note, want)
	}
	if len(look.Interventions) != 2 || look.Interventions[0].Month != "2026-03" || look.Interventions[1].Name != "2" {
		t.Errorf("%+v", look.Interventions)
	}
}

// TestAFullMonthIsWholeInTheRecords: the first counts where its issues begin by the third
// day (see findFirstFull), the one that is not over does not.
func TestAFullMonthIsWholeInTheRecords(t *testing.T) {
	in := &input{firstFull: "2025-02", today: "2026-10-20"}
	for m, want := range map[string]bool{"2025-01": false, "2025-02": true, "2026-09": true, "2026-10": false} {
		if in.fullMonth(m) != want {
			t.Errorf("%s is full: %v", m, !want)
		}
	}
}
