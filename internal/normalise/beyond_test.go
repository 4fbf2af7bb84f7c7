package normalise

import "testing"

// Beyond the analyser without a number is a clotting time without an end; of a
// test that measures an amount it says nothing about clotting.
func TestBeyondTheAnalyser(t *testing.T) {
	for _, c := range []struct{ test, value, bound, want string }{
		{"inr", ">", "", "unclottable"}, {"inr", ">=", "", "unclottable"}, {"pt_s", ">>", "", "unclottable"}, {"aptt_s", "≥", "", "unclottable"}, {"pt_ratio", " > ", "", "unclottable"},
		{"viscoelastic", ">", "", "unclottable"}, {"aptt_ratio", "", ">", "unclottable"}, {"inr", "", ">=", "unclottable"},
		{"inr", "Off scale", "", "unclottable"}, {"inr", "Above measuring range!", "", "unclottable"}, {"aptt_s", ">max", "", "unclottable"},
		{"inr", "<", "", "other"}, {"inr", "<>", "", "other"}, {"inr", "", "<", "other"}, {"inr", "", "", "other"}, {"inr", "see note", ">", "other"}, {"inr", "pending", ">", "pending"},
		{"fibrinogen", ">", "", "other"}, {"fibrinogen", "above range", "", "other"}, {"platelets", "", ">", "other"},
	} {
		r := read(t, "labs", "", "", "patient_id;test;value_raw;bound;collected_at", "P1;"+c.test+";"+c.value+";"+c.bound+";2025-03-10T09:00Z")
		same(t, c.test+" "+c.value+" "+c.bound, r.rows["labs-"+c.test][0], map[string]string{"value": "", "bound": "", "no_value": c.want})
		if len(r.problems) != 0 {
			t.Errorf("%s %s: problems %v", c.test, c.value, r.problems)
		}
	}
	// The site's own word goes before.
	r := read(t, "labs", "no_value: {off scale: other}", "", "patient_id;test;value_raw;collected_at", "P1;inr;off scale;2025-03-10T09:00Z")
	same(t, "own word", r.one(t, "labs-inr"), map[string]string{"no_value": "other"})
}
