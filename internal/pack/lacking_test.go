package pack

import (
	"regexp"
	"strings"
	"testing"

	"thawline/internal/figure"
)

// without makes a pack of a site that has no such feeds.
func without(t *testing.T, feeds ...string) (committee, cases string) {
	t.Helper()
	in := fabricate(t, 900)
	// Invented tables of feeds that the sources do not name are there by their rows.
	for _, one := range []string{"bedside", "measures", "patients"} {
		in.sources = append(in.sources, Source{Table: one, Read: 1, Accepted: 1})
	}
	kept := in.sources[:0]
	for _, s := range in.sources {
		gone := false
		for _, feed := range feeds {
			gone = gone || s.Table == feed
		}
		if !gone {
			kept = append(kept, s)
		}
	}
	in.sources = kept
	for _, feed := range feeds {
		in.files[feed] = nil
	}
	committee, cases, _ = made(t, in)
	return committee, cases
}

// panelOf cuts one figure's panel out of a page.
func panelOf(t *testing.T, page, figure string) string {
	t.Helper()
	found := regexp.MustCompile(`(?s)<article id="f-` + figure + `".*?</article>`).FindString(page)
	if found == "" {
		t.Fatalf("no panel of %s", figure)
	}
	return found
}

// TestWhatAMissingFeedLeavesUnknown: a nought that no record could have changed is
// not told as one, and the first section says which feeds are missing.
func TestWhatAMissingFeedLeavesUnknown(t *testing.T) {
	whole, _ := without(t)
	some, _ := without(t, "events", "patients", "medicines")
	others, _ := without(t, "measures", "bedside", "activity")
	if strings.Contains(whole, "the site has no such feed") {
		t.Error("a site that has every feed is told that some are missing")
	}
	if first, _, _ := strings.Cut(some, `<section id="s2">`); !strings.Contains(first, "marked unsupported (none can be marked non-bleeding)") || !strings.Contains(first, "is likely too high") {
		t.Error("the first section of a site without events speaks of its share and of what was given as if bleeding were known")
	}
	for _, c := range []struct {
		feed, first string
		// unknown is what each figure says, by name.
		unknown map[string]string
	}{
		{"events", "events: bleeding, procedures", map[string]string{
			"activations": "nor whether any was stood down", "activation_to_plasma": "is not known: without an events feed",
			"plasma_to_red_cells": "Without an events feed other activations are not known", "exchanges": "without an events feed",
			"test_by_bleeding": "none can be told to be without", "marks_by_month": "no episode can be marked non-bleeding",
			"avoidable": "not among them", "feeds_by_month": "ithout a row in all these months: bedside, labs, measures, bleeding, procedures, other events, medicines",
			"appropriate_by_month": "is likely too high", "by_location": "is likely too high", "by_specialty": "is likely too high", "sensitivity": "is likely too high"}},
		{"measures", "measures: no weight is known", map[string]string{
			"dose_distribution": "without a measures feed no weight is", "below_band_by_month": "without a measures feed", "weight_by_units": "without a measures feed",
			"appropriate_by_month": "is not known: without a measures feed", "by_location": "is not known: without a measures feed", "sensitivity": "without a measures feed no dose is"}},
		{"patients", "patients: age and blood group are not known", map[string]string{
			"children_marks": "everybody is judged as an adult", "children_dose": "nobody&#39;s age is"}},
		{"bedside", "bedside records: starts and ends", map[string]string{"times_by_step": "Without a bedside feed", "thaw_to_fate": "Without a bedside feed"}},
		{"activity", "activity: admissions are not known", map[string]string{"plasma_per_admissions": "there is no activity feed"}},
		{"medicines", "medicines: what reversed", map[string]string{"other_products": "Without a medicines feed"}},
	} {
		// Of feeds that no figure needs together one pack tells.
		page := some
		if c.feed == "measures" || c.feed == "bedside" || c.feed == "activity" {
			page = others
		}
		first, _, _ := strings.Cut(page, `<section id="s2">`)
		if !strings.Contains(first, c.first) {
			t.Errorf("without %s: the first section does not say %q", c.feed, c.first)
		}
		if strings.Contains(whole, c.first) {
			t.Errorf("a site with %s is told %q", c.feed, c.first)
		}
		for figure, says := range c.unknown {
			if got := panelOf(t, page, figure); !strings.Contains(got, says) {
				t.Errorf("without %s: %s does not say %q: %s", c.feed, figure, says, regexp.MustCompile(`<p class="says">.*?</p>`).FindString(got))
			}
			if strings.Contains(panelOf(t, whole, figure), says) {
				t.Errorf("with %s: %s says %q", c.feed, figure, says)
			}
		}
	}
}

// TestNoBleedingIsNotClaimed: what the absence of evidence means stands with each case.
func TestNoBleedingIsNotClaimed(t *testing.T) {
	in := fabricate(t, 20)
	for _, c := range []struct {
		basis   string
		lacking bool
		says    string
	}{{"none_found", false, "No bleeding evidence found."}, {"procedure_low", true, "No bleeding evidence found."}, {"not_known", false, "Whether there was bleeding is not known: no feed would have shown it. The policy's bleeding_recorded_in and the days of which bleeding events tell decide that; thawline explain shows them."},
		{"procedure", false, "No bleeding is recorded."}, {"plasma_exchange", true, "Whether there was bleeding is not known: no feed would have shown it. The policy's bleeding_recorded_in and the days of which bleeding events tell decide that; thawline explain shows them."}} {
		in.lacking = map[string]bool{"bleeding": c.lacking}
		if got := in.noEvidence(c.basis); got != c.says {
			t.Errorf("%s, lacking %t: %q, wanted %q", c.basis, c.lacking, got, c.says)
		}
	}
	_, cases := without(t, "events")
	if n := strings.Count(cases, "Whether there was bleeding is not known"); n == 0 {
		t.Error("no case of a site without events says that bleeding is not known")
	}
}

// TestNoShareWithoutDoses: where nothing tells a dose none can be appropriate, whether
// that nought is shown, hidden or forgotten.
func TestNoShareWithoutDoses(t *testing.T) {
	in := fabricate(t, 20)
	answer := func(n figure.Cell) *answer {
		fs := &figures{in: in, done: map[string]*figure.Figure{"appropriate_by_month": {Definition: &figure.Definition{}, Values: map[string]figure.Cell{"n": n, "of": {Value: int64(9)}}}}}
		return fs.answer()
	}
	in.lacking = map[string]bool{figure.Band: true}
	for _, n := range []figure.Cell{{}, {Hidden: true}} {
		a := answer(n)
		if !strings.Contains(strings.Join(a.Sentences, " "), "The share of appropriate episodes is not known") || a.Headlines[2].Figure != "–" || a.Headlines[2].Note != "not known" {
			t.Errorf("%v: %q, %v", n, a.Sentences, a.Headlines[2])
		}
	}
	in.lacking = nil
	if a := answer(figure.Cell{Hidden: true}); !strings.Contains(strings.Join(a.Sentences, " "), "would give small counts away") || a.Headlines[2].Figure != "hidden" {
		t.Errorf("with doses: %q, %v", a.Sentences, a.Headlines[2])
	}
}
