package pack

import (
	"cmp"
	"slices"
)

// discussMost is how many cases are picked for the meeting, and discussHarm how many
// of these places harm that happened may take before other kinds have their turn.
const (
	discussMost = 10
	discussHarm = 6
)

// harmKinds are findings of harm that happened, or of a unit that went to the wrong
// patient; otherKinds what comes after, a kind in its turn. Other safety findings, as
// of a site's own rules, are the kind ownKind, and a kind of no finding is a mark.
var (
	harmKinds  = []string{"reaction_after", "abo_incompatible", "given_to_other"}
	otherKinds = []string{"after_expiry", "thaw_overrun", ownKind, "volume_risk", "unsupported", "non-bleeding", "under-dosed"}
)

const ownKind = "other_safety"

// candidate is an episode that may be discussed, by the first kind that it has.
type candidate struct {
	kind, name string
	ml         float64
}

// kindOf is the first kind that an episode has, by its safety findings and its mark;
// empty where it has none.
func kindOf(safety []string, mark string) string {
	for _, kind := range slices.Concat(harmKinds, otherKinds) {
		own := func(finding string) bool {
			return !slices.Contains(harmKinds, finding) && !slices.Contains(otherKinds, finding)
		}
		if slices.Contains(safety, kind) || kind == mark || kind == ownKind && slices.ContainsFunc(safety, own) {
			return kind
		}
	}
	return ""
}

// discuss picks by the rule that is printed (discuss_rule): harm first, two of each
// kind in turn; then one of each other kind in turn; what places are left go to harm
// again. Within a kind the highest volume given comes first. Those picked stand by
// their kinds.
func discuss(all []candidate) (picked []candidate) {
	byKind := map[string][]candidate{}
	for _, one := range all {
		byKind[one.kind] = append(byKind[one.kind], one)
	}
	for _, list := range byKind {
		slices.SortFunc(list, func(a, b candidate) int { return cmp.Or(cmp.Compare(b.ml, a.ml), cmp.Compare(a.name, b.name)) })
	}
	turns := func(kinds []string, each, most int) {
		for left := true; left; {
			left = false
			for _, kind := range kinds {
				n := min(each, len(byKind[kind]), most-len(picked))
				picked = append(picked, byKind[kind][:n]...)
				byKind[kind] = byKind[kind][n:]
				left = left || n > 0
			}
		}
	}
	turns(harmKinds, 2, discussHarm)
	turns(otherKinds, 1, discussMost)
	turns(harmKinds, 2, discussMost)
	order := slices.Concat(harmKinds, otherKinds)
	slices.SortStableFunc(picked, func(a, b candidate) int { return slices.Index(order, a.kind) - slices.Index(order, b.kind) })
	return picked
}
