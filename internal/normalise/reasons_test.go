package normalise

import (
	"strings"
	"testing"
)

// Every reason, with its parts filled in, leads to its own next step: no other
// form takes its words for its own.
func TestEveryReasonHasItsNextStep(t *testing.T) {
	seen := map[string]bool{}
	for _, r := range reasons {
		if r.says == "" || r.next == "" || seen[r.says] {
			t.Errorf("reason %q: empty, without a next step, or there twice", r.says)
		}
		seen[r.says] = true
		parts := make([]string, strings.Count(r.says, "{}"))
		for i := range parts {
			parts[i] = "issued_at"
		}
		text := r.text(parts)
		if strings.Contains(text, "{}") {
			t.Errorf("reason %q: a part is left out", text)
		}
		if got := NextStep(text); got != r.next {
			t.Errorf("reason %q leads to %q, want %q", text, got, r.next)
		}
	}
	if len(seen) < 20 {
		t.Errorf("%d reasons: some are not told", len(seen))
	}
	if NextStep("a reason of an earlier version") != otherStep {
		t.Error("an unknown reason has no next step")
	}
}
