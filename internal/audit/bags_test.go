package audit

import (
	"context"
	"fmt"
	"testing"

	"thawline/internal/policy"
)

// Each bag stands once in use and wastage, whatever its rows: a case a bag, in
// a small invented stock.
func TestBagsStandOnce(t *testing.T) {
	e := caseEngine(t)
	insert(t, e, "issues", withDefaults("issues", `unit_no,patient_id,issued_at,thawed_at,started_at,returned_at,discarded_at,fate,discard_reason,product,issued_local
TWICE,P,2025-03-10T10:00Z,2025-03-10T09:30Z,,2025-03-10T10:20Z,,returned,,fresh_frozen,2025-03-10T10:00Z
TWICE,Q,2025-03-10T12:00Z,2025-03-10T09:30Z,2025-03-10T12:30Z,,,transfused,,fresh_frozen,2025-03-10T12:00Z
MONTHEND,P,2025-04-01T01:00Z,2025-03-31T23:30Z,2025-04-01T01:30Z,,,transfused,,fresh_frozen,2025-04-01T02:00Z
SHELF,,,2025-03-09T08:00Z,,,2025-03-10T10:00Z,discarded,expired_after_thaw,fresh_frozen,
BROKEN,,,,,,2025-03-10T10:00Z,discarded,damaged,fresh_frozen,
LIQUID,,,,,,2025-03-10T10:00Z,discarded,,liquid,
`))
	given := Given{Policy: policy.Default(), Present: map[string]bool{"issues": true, "labs": true}}
	if err := MarkTables(context.Background(), e, given); err != nil {
		t.Fatal(err)
	}
	got := byFirst(t, e, "SELECT unit_no, month, fate, frozen_loss, reason, avoidable, hours_thaw_to_fate FROM bags")
	for unit, want := range map[string][]any{
		"TWICE": {"2025-03", "transfused", false, nil, nil, 3.0}, // The last issue's start, from the first thaw.
		// British summer time began on 30 March 2025: 23:30 UTC is 00:30 on 1 April.
		"MONTHEND": {"2025-04", "transfused", false, nil, nil, 2.0},
		"SHELF":    {"2025-03", "discarded", false, "expired_after_thaw", true, 26.0},
		"BROKEN":   {"2025-03", "discarded", true, "damaged", false, nil},
		"LIQUID":   {"2025-03", "discarded", false, nil, nil, nil},
	} {
		if fmt.Sprint(got[unit]) != fmt.Sprint(want) {
			t.Errorf("%s: %v, want %v", unit, got[unit], want)
		}
	}
	if len(got) != 5 {
		t.Errorf("%d bags, want 5", len(got))
	}
}
