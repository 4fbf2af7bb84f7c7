package audit

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"thawline/internal/policy"
)

// against are the marks that speak against the clinician.
var against = []string{"non-bleeding", "unsupported", "under-dosed"}

// removal takes something away from what the store knows.
type removal struct {
	name   string
	stays  func(table string, row record) bool
	blank  func(table string, row record)
	feeds  []string
	never  []string
	lifted func(before, after record) bool
	// alone says that it also takes away whether feeds were kept at all.
	alone bool
}

// from is what is left of a hospital.
func (r removal) from(h invented) invented {
	less := h.without(r.feeds...)
	if r.stays != nil {
		less = less.keep(r.stays)
	}
	if r.blank != nil {
		less = less.change(r.blank)
	}
	return less
}

// removals take something away from what the store knows, and state what must
// then hold. never lists marks that rest on what was taken, and that no episode
// may have. lifted says of an episode, by its
// facts before and after, that the contract itself lets an undetermined one
// become a verdict: all other undetermined episodes must stay so.
var removals = []removal{
	// Section 3: without a weight the band is not known, and only factor
	// deficiency and bleeding look at it. Nothing is lifted.
	{name: "measures", feeds: []string{"measures"}, never: []string{"under-dosed"}},
	// Section 9: unsupported rests on a test, whether it shows or not. Section
	// 5: a fall of haemoglobin is evidence that goes with the tests.
	{name: "labs", feeds: []string{"labs"}, never: []string{"unsupported"},
		lifted: func(before, after record) bool {
			return strings.Contains(before["evidence"], "hb_fall") && after["basis"] != before["basis"]
		}},
	// Section 6: non-bleeding rests on a feed that would have shown bleeding.
	// Section 7: a test too old is only so for bleeding and procedures, and a
	// basis of another limit may be left. Section 8: stopped is told by a reaction.
	{name: "events", feeds: []string{"events"}, alone: true, never: []string{"non-bleeding"},
		lifted: func(before, after record) bool {
			return before["test_too_old"] == "true" || before["course"] == "stopped" || before["coagulopathy"] == "shown" && after["basis"] == "procedure"
		}},
	{name: "all bleeding rows", stays: func(table string, row record) bool { return row["kind"] != "bleeding" }, alone: true, never: []string{"non-bleeding"},
		lifted: func(before, after record) bool {
			return before["test_too_old"] == "true" || before["coagulopathy"] == "shown" && after["basis"] != before["basis"]
		}},
	// Section 8: another product is first choice where a medicine says so.
	// Section 7: an aPTT that was prolonged without heparin does not count once
	// it is not known whether there was any.
	{name: "medicines", feeds: []string{"medicines"}, alone: true,
		lifted: func(before, after record) bool {
			return after["alternative"] != before["alternative"] || before["shown_by"] == "aptt_ratio"
		}},
	// Section 3: without a birth date all are adults, without a sex none has an
	// ideal weight.
	{name: "patients", feeds: []string{"patients"},
		lifted: func(before, after record) bool {
			return before["population"] != "adult" || before["weight_basis_decides"] == "true"
		}},
	// Section 7: a criterion that is not known keeps the others from deciding
	// only where it is the viscoelastic one.
	{name: "viscoelastic", stays: noTest("viscoelastic"), lifted: func(before, after record) bool { return before["viscoelastic"] == "true" }},
	{name: "inr", stays: noTest("inr"), lifted: shownBy("inr")},
	{name: "pt_ratio", stays: noTest("pt_ratio"), lifted: shownBy("pt_ratio")},
	{name: "aptt_ratio", stays: noTest("aptt_ratio"), lifted: shownBy("aptt_ratio")},
	{name: "fibrinogen", stays: noTest("fibrinogen"), lifted: shownBy("fibrinogen")},
	{name: "platelets", stays: noTest("platelets")},
	// Section 5: red cells are evidence, and so part of the fall of haemoglobin.
	{name: "red cells", stays: func(table string, row record) bool { return row["component"] != "red_cells" },
		lifted: func(before, after record) bool { return after["basis"] != before["basis"] }},
	// Section 6: no bleeding and no procedure recorded is none found, where
	// bleeding would have been seen. Section 7: a sample before a procedure began
	// was too old, and a procedure has other limits.
	{name: "procedures", stays: noEvent("procedure"),
		lifted: func(before, after record) bool {
			return before["test_too_old"] == "true" || strings.HasPrefix(before["basis"], "procedure")
		}},
	{name: "indications", blank: func(table string, row record) { delete(row, "indication") },
		lifted: func(before, after record) bool {
			return after["basis"] != before["basis"] || after["alternative"] != before["alternative"]
		}},
	// Section 7: a sample before the first call was too old.
	{name: "activations", stays: noEvent("activation"), lifted: func(before, after record) bool { return before["test_too_old"] == "true" }},
	{name: "diagnoses", stays: noEvent("diagnosis")},
	{name: "reactions", stays: noEvent("reaction"), lifted: func(before, after record) bool { return before["course"] == "stopped" }},
}

func noEvent(kind string) func(string, record) bool {
	return func(table string, row record) bool { return table != "events" || row["kind"] != kind }
}

// turned are the facts that, not known, may not turn into what speaks against the
// clinician, each with what does.
var turned = map[string][]string{"basis": {"none_found", "procedure_low"}, "coagulopathy": {"not_shown"}, "dose_band": {"below"}}

func noTest(test string) func(string, record) bool {
	return func(table string, row record) bool { return table != "labs" || row["test"] != test }
}

// shownBy says that a criterion which held is gone: another result may then
// decide, or fibrinogen stand alone.
func shownBy(test string) func(record, record) bool {
	return func(before, after record) bool { return slices.Contains(strings.Fields(before["shown_by"]), test) }
}

// TestLessIsNeverHeldAgainstTheClinician takes feeds, tests and evidence away.
// An episode that is undetermined stays so, but for the cases which the contract
// names and which removals lists; and no mark is given that rests on what is gone.
func TestLessIsNeverHeldAgainstTheClinician(t *testing.T) {
	undetermined, judgedAgainst, lifted := 0, map[string]int{}, map[string]int{}
	stocked := with(t, [2]string{"concentrate_stocked", "yes"}, [2]string{"fibrinogen_source_stocked", "yes"})
	for seed := range propertySeeds() {
		for name, p := range map[string]*policy.Policy{"the default policy": policy.Default(), "other products stocked": stocked} {
			h := small(seed, "P", propertyPatients)
			// Patients are judged each for themselves, so that one run holds what
			// is left of them after each removal, under numbers of their own; a
			// removal that leaves feeds empty has a run of its own.
			joined := maps.Clone(h)
			for i, removal := range removals {
				if removal.alone {
					continue
				}
				for table, rows := range removal.from(h).change(func(table string, row record) { row["patient_id"] = fmt.Sprintf("%d|%s", i, row["patient_id"]) }) {
					joined[table] = append(slices.Clone(joined[table]), rows...)
				}
			}
			all := propertyFacts(t, propertyRun{policy: p}.over(t, joined))
			before := map[string]record{}
			for id, facts := range all {
				if strings.HasPrefix(id, "P") {
					before[id] = facts
					judgedAgainst[facts["mark"]]++
					if facts["mark"] == "undetermined" {
						undetermined++
					}
				}
			}
			for i, removal := range removals {
				after, prefix := all, fmt.Sprintf("%d|", i)
				if removal.alone {
					after, prefix = propertyFacts(t, propertyRun{policy: p}.over(t, removal.from(h))), ""
				}
				what := fmt.Sprintf("seed %d, %s, without %s", seed, name, removal.name)
				for id, b := range before {
					a := after[prefix+id]
					if a == nil {
						t.Fatalf("%s: an episode is gone", what)
					}
					if slices.Contains(removal.never, a["mark"]) {
						t.Errorf("%s: an episode is %s\nbefore %v\nafter  %v", what, a["mark"], b, a)
					}
					for fact, bad := range turned {
						if fact == "coagulopathy" && strings.HasPrefix(a["basis"], "procedure") != strings.HasPrefix(b["basis"], "procedure") {
							continue // Section 7: another basis has another limit, which a bound may decide.
						}
						if b[fact] == "not_known" && slices.Contains(bad, a[fact]) && (removal.lifted == nil || !removal.lifted(b, a)) {
							t.Errorf("%s: %s was not known and becomes %s\nbefore %v\nafter  %v", what, fact, a[fact], b, a)
						}
					}
					if b["mark"] != "undetermined" || !slices.Contains(against, a["mark"]) {
						continue
					}
					if removal.lifted == nil || !removal.lifted(b, a) {
						t.Errorf("%s: undetermined becomes %s\nbefore %v\nafter  %v", what, a["mark"], b, a)
						continue
					}
					lifted[removal.name+": undetermined → "+a["mark"]]++
				}
			}
		}
	}
	if undetermined == 0 {
		t.Error("no episode is undetermined: the test proves nothing")
	}
	for _, mark := range against {
		if judgedAgainst[mark] == 0 {
			t.Errorf("no episode is %s: the test proves nothing of it", mark)
		}
	}
	for _, what := range slices.Sorted(maps.Keys(lifted)) {
		t.Logf("lifted by the contract itself, without %s: %d", what, lifted[what])
	}
}
