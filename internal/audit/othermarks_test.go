package audit

import (
	"regexp"
	"testing"

	"thawline/internal/policy"
)

// TestNoMarkGoesByALimitColumn: rows that differ in the limit alone are left out
// when an episode is judged again, so no later query may read it.
func TestNoMarkGoesByALimitColumn(t *testing.T) {
	ordered, err := markQueries()
	if err != nil {
		t.Fatal(err)
	}
	others, err := policy.OtherValues()
	if err != nil {
		t.Fatal(err)
	}
	if len(others) == 0 {
		t.Fatal("no other value is tried")
	}
	for _, other := range others {
		r, err := rejudgingBy(ordered, other.Column)
		if err != nil {
			t.Errorf("%s: %v", other.Column, err)
			continue
		}
		limit := limitColumns[r.first.Name]
		if !regexp.MustCompile(`\bAS ` + limit + `\b`).MatchString(r.first.SQL) {
			t.Errorf("%s has no column %s any more", r.first.Path, limit)
		}
		for _, q := range r.then {
			if regexp.MustCompile(`\.` + limit + `\b`).MatchString(q.SQL) {
				t.Errorf("%s reads %s.%s: an episode may change its mark with nothing else of it changed", q.Path, r.first.Name, limit)
			}
		}
	}
	if _, err := rejudgingBy(ordered, "decides_h"); err == nil {
		t.Error("a value that another query reads was taken without a word of its limit column")
	}
	if _, err := rejudgingBy(ordered, "small_count"); err == nil {
		t.Error("a value by which nothing is judged was taken")
	}
}
