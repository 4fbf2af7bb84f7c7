package words

import "testing"

func TestComma(t *testing.T) {
	for text, wanted := range map[string]string{
		"Median 7.3 mL/kg in ten hospitals and 10.8 mL/kg in 29 units (published 2011).": "Median 7,3 mL/kg in ten hospitals and 10,8 mL/kg in 29 units (published 2011).",
		"90 % of 3,383 episodes in 89 hospitals (2017).":                                 "90 % of 3.383 episodes in 89 hospitals (2017).",
		"limits of 1.5, 1.8 or 2.0.":                                                     "limits of 1,5, 1,8 or 2,0.",
		"0.37 x INR - 0.47":                                                              "0,37 x INR - 0,47",
		"1.5":                                                                            "1,5",
		"1,234,567.5 mL":                                                                 "1.234.567,5 mL",
		"(0.5)–(1.5), “2.5” <3.5 =4.5%":                                                  "(0,5)–(1,5), “2,5” <3,5 =4,5%",
		"{1:0 bags|1.5 bags}":                                                            "{1:0 bags|1,5 bags}",
		// These are no numbers.
		"3.2.1 and section 3.2.1, on 20.10.2026": "3.2.1 and section 3.2.1, on 20.10.2026",
		"doi:10.1016/j.x 10.1016/j.y v1.2 X-1.5": "doi:10.1016/j.x 10.1016/j.y v1.2 X-1.5",
		"46:1279, 2026-10-01, 20:30, 1,2, 12,34": "46:1279, 2026-10-01, 20:30, 1,2, 12,34",
		"In 2017. Then 4. And 5, 6.":             "In 2017. Then 4. And 5, 6.",
		"%s of %d; {inr_1_5}; a_1.5; é1.5; 1.5é": "%s of %d; {inr_1_5}; a_1.5; é1.5; 1.5é",
		"already 1,5 and 1.234.567 and .5 5.":    "already 1,5 and 1.234.567 and .5 5.",
		"":                                       "",
	} {
		if got := Comma(text); got != wanted {
			t.Errorf("%q is %q, wanted %q", text, got, wanted)
		}
	}
}

func TestWithComma(t *testing.T) {
	l := English().WithComma()
	if got := l.Say("limit_998"); got != "99,8 % limit" {
		t.Errorf("said %q", got)
	}
	if got := l.Say("funnel_outside", "Ward 2.5"); got != "Outside the 99,8 % limits: Ward 2.5. A prompt to look, not a verdict." {
		t.Errorf("said %q: what is filled in stays as it is", got)
	}
	for what, pair := range map[string][2]string{
		"a label":          {l.Text("over 1.5 to 2"), "over 1,5 to 2"},
		"a name of a site": {l.Text("Ward 2.5"), "Ward 2.5"},
		"a text of ours":   {l.Own("Median 7.3 mL/kg"), "Median 7,3 mL/kg"},
	} {
		if pair[0] != pair[1] {
			t.Errorf("%s is %q, wanted %q", what, pair[0], pair[1])
		}
	}
	if got := English().Own("Median 7.3 mL/kg") + English().Text("over 1.5 to 2"); got != "Median 7.3 mL/kgover 1.5 to 2" {
		t.Errorf("without a decimal comma it is %q", got)
	}
	foreign := other()
	foreign.Texts["Median 7.3 mL/kg"] = "Mitte 7.3 mL/kg"
	if got := foreign.WithComma().Own("Median 7.3 mL/kg"); got != "Mitte 7,3 mL/kg" {
		t.Errorf("in another language it is %q", got)
	}
}
