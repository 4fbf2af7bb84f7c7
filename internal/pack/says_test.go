package pack

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"thawline/internal/figure"
)

// tags are what stands in a page beside its text.
var tags = regexp.MustCompile(`(?s)<style>.*?</style>|<svg.*?</svg>|<[^>]*>`)

// TestNoNameOfTheProgramIsShown: what readers see bears no name with a line in it, but
// for the values of the policy, which the page lists.
func TestNoNameOfTheProgramIsShown(t *testing.T) {
	in := fabricate(t, 100)
	committee, _, _ := made(t, in)
	var values []string
	for _, v := range in.policy.Values() {
		values = append(values, v.Name)
	}
	for _, name := range regexp.MustCompile(`[a-z0-9]+(?:_[a-z0-9]+)+`).FindAllString(tags.ReplaceAllString(committee, " "), -1) {
		file := func(s Source) bool { return strings.Contains(s.File, name) }
		if !slices.Contains(values, name) && !slices.ContainsFunc(in.sources, file) {
			t.Errorf("the page shows %q", name)
		}
	}
	judgement, _, _ := strings.Cut(committee[strings.Index(committee, "Policy hash"):], "</p>")
	if !regexp.MustCompile(`^Policy hash <code>[0-9a-f]{16}</code> from the beginning\.`).MatchString(judgement) {
		t.Errorf("the hash of the policy is told as %q", judgement)
	}
}

// TestTablesOfTwoLooks: two panels of one figure have a table each, and not the same.
func TestTablesOfTwoLooks(t *testing.T) {
	committee, _, _ := made(t, fabricate(t, 300))
	heads := regexp.MustCompile(`(?s)<thead>.*?</thead>`)
	one, two := heads.FindString(panelOf(t, committee, "effect")), heads.FindString(panelOf(t, committee, "effect-2"))
	if !strings.Contains(one, "Median after") || strings.Contains(one, "Median change") || !strings.Contains(two, "Median change") || strings.Contains(two, "Median after") {
		t.Errorf("the looks at the effect have tables of %q and %q", one, two)
	}
}

// TestSpanIsNoLongerThanTheRecords: a pack of few months speaks of no year.
func TestSpanIsNoLongerThanTheRecords(t *testing.T) {
	for _, c := range []struct{ from, to, records, says string }{
		{"2026-10", "2026-10", "2024-11", "the twelve months to Oct 2026"},
		{"2026-10", "2026-10", "2025-11", "the twelve months to Oct 2026"},
		{"2026-10", "2026-10", "2025-12", "Dec 2025 to Oct 2026"},
		{"2026-10", "2026-10", "2026-10", "Oct 2026"},
		{"2026-10", "2026-10", "2026-12", "Oct 2026"},
		{"2026-08", "2026-10", "2026-09", "Aug 2026 to Oct 2026"},
		{"2024-11", "2026-10", "2024-01", "Nov 2024 to Oct 2026"},
	} {
		in := &input{from: c.from, to: c.to, recordsFrom: c.records}
		if got := in.span(); got != c.says {
			t.Errorf("%s to %s, with records from %s: %q, wanted %q", c.from, c.to, c.records, got, c.says)
		}
	}
}

// TestEmptyMonthOfWhichIssuesWereRead: where issues of the month were read, nobody is
// told that they may not have been.
func TestEmptyMonthOfWhichIssuesWereRead(t *testing.T) {
	for unread, says := range map[bool]string{false: "No episode of plasma began in Oct 2026, and no bag was given.", true: "have not been read"} {
		nothing := figure.Cell{Value: int64(0)}
		in := &input{from: "2026-10", to: "2026-10", unread: map[string]bool{"2026-10": unread}}
		fs := &figures{in: in, done: map[string]*figure.Figure{}}
		for _, name := range []string{"marks_by_month", "use_by_month"} {
			d := &figure.Definition{Name: name, Answer: []figure.Column{{Name: "n", Kind: figure.Units}, {Name: "of", Kind: figure.Units}}}
			fs.done[name] = &figure.Figure{Definition: d, Values: map[string]figure.Cell{"n": nothing, "of": nothing}}
		}
		if a := fs.answer(); !strings.Contains(a.Sentences[0], says) {
			t.Errorf("unread %t: %q", unread, a.Sentences)
		}
	}
}
