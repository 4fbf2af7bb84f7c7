package pack

import (
	"fmt"
	"strings"
	"testing"
)

// TestDiscuss: harm comes before risks, and no kind takes the places of the others.
func TestDiscuss(t *testing.T) {
	// many are so many episodes of a kind, the first with the highest volume.
	many := func(kind string, n int) (all []candidate) {
		for i := range n {
			all = append(all, candidate{kind, fmt.Sprintf("%s%d", kind[:2], i), float64(1000 - i)})
		}
		return all
	}
	for wanted, groups := range map[string][][]candidate{
		"":            nil,
		"vo0 vo1 un0": {many("volume_risk", 2), many("unsupported", 1)},
		"re0 vo0 vo1 vo2 vo3 vo4 vo5 vo6 vo7 vo8": {many("volume_risk", 20), many("reaction_after", 1)},
		// Six places for harm, two of each kind in turn; one of each other kind in turn.
		"re0 re1 re2 ab0 ab1 gi0 af0 th0 ot0 vo0": {many("reaction_after", 9), many("abo_incompatible", 2), many("given_to_other", 1), many("after_expiry", 3), many("thaw_overrun", 3), many(ownKind, 2), many("volume_risk", 9), many("under-dosed", 9)},
		"re0 re1 re2 re3 re4 re5 vo0 un0 no0 und": {many("reaction_after", 9), many("volume_risk", 9), many("unsupported", 3), many("non-bleeding", 3), {{"under-dosed", "und", 1}}},
		// Places that nothing else takes go to harm again.
		"re0 re1 re2 re3 re4 re5 re6 re7 re8 vo0": {many("reaction_after", 12), many("volume_risk", 1)},
	} {
		var all []candidate
		for _, group := range groups {
			all = append(all, group...)
		}
		for range 2 {
			var names []string
			for _, one := range discuss(all) {
				names = append(names, one.name)
			}
			if got := strings.Join(names, " "); got != wanted {
				t.Errorf("picked %q, wanted %q", got, wanted)
			}
			// The order in which they come changes nothing.
			for i, j := 0, len(all)-1; i < j; i, j = i+1, j-1 {
				all[i], all[j] = all[j], all[i]
			}
		}
	}
	if tied := discuss([]candidate{{"unsupported", "b", 5}, {"unsupported", "a", 5}}); tied[0].name != "a" {
		t.Errorf("of equal volumes %v comes first", tied)
	}
}

func TestKindOfACase(t *testing.T) {
	for _, c := range []struct{ safety, mark, kind string }{
		{"", "appropriate", ""}, {"", "under-dosed", "under-dosed"}, {"volume_risk", "unsupported", "volume_risk"},
		{"volume_risk reaction_after", "appropriate", "reaction_after"}, {"thaw_overrun given_to_other", "set-apart", "given_to_other"},
		{"a_rule_of_the_site", "appropriate", ownKind}, {"a_rule_of_the_site after_expiry", "appropriate", "after_expiry"}, {"volume_risk a_rule_of_the_site", "returned", ownKind},
	} {
		if got := kindOf(strings.Fields(c.safety), c.mark); got != c.kind {
			t.Errorf("%q, %s: %q, wanted %q", c.safety, c.mark, got, c.kind)
		}
	}
}
