package pack

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"thawline/internal/chart"
	"thawline/internal/engine"
)

func made(t *testing.T, in *input) (committee, cases string, dir string) {
	t.Helper()
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir(), Threads: engine.ThreadsBeside})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	if err := loadClock(ctx, e, in.zone); err != nil {
		t.Fatal(err)
	}
	if err := in.loadStore(ctx, e); err != nil {
		t.Fatal(err)
	}
	if err := in.check(ctx, e); err != nil {
		t.Fatal(err)
	}
	dir = t.TempDir()
	if keep := os.Getenv("THAWLINE_KEEP_PACK"); keep != "" {
		dir = filepath.Join(keep, t.Name())
	}
	drawn, err := chart.New()
	if err != nil {
		t.Fatal(err)
	}
	defer drawn.Close()
	pages, err := in.pages(ctx, e, drawn)
	if err != nil {
		t.Fatal(err)
	}
	paths, err := pages.write(dir)
	if err != nil {
		t.Fatal(err)
	}
	read := func(path string) string {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	return read(paths.Committee), read(paths.Cases), dir
}

func TestPackIsSelfContainedAndHoldsNoPatient(t *testing.T) {
	in := fabricate(t, 900)
	committee, cases, dir := made(t, in)
	for _, bad := range []string{`(?i)<script`, `(?i)<(foreignObject|iframe|img|object|embed)`, `(?i)\son[a-z]+\s*=\s*["']`, `(?i)javascript:`, `(?i)(src|href)\s*=\s*["']?(https?:)?//`, `ZgotmplZ`, `NaN`} {
		if found := regexp.MustCompile(bad).FindString(committee); found != "" {
			t.Errorf("committee.html holds %q", found)
		}
	}
	if strings.Contains(committee, hostile) || strings.Contains(cases, hostile) || !strings.Contains(cases, "&lt;/script&gt;&lt;img src=x onerror=alert(1)&gt;=1&#43;1") {
		t.Error("a hostile location does not stand as text in cases.html")
	}
	if n := strings.Count(cases, "<script>"); n != 1 {
		t.Errorf("cases.html holds %d scripts, wanted our own one", n)
	}
	for _, identifier := range []string{"P17<", "0000000000000370"} {
		if strings.Contains(cases, identifier) || strings.Contains(committee, identifier) {
			t.Errorf("the pack holds the identifier %q", identifier)
		}
	}
	if n := strings.Count(committee, "<svg "); n < 9 {
		t.Errorf("%d drawings, wanted at least 9", n)
	}
	ids := map[string]bool{}
	for _, m := range regexp.MustCompile(`\sid="([^"]+)"`).FindAllStringSubmatch(committee, -1) {
		if ids[m[1]] {
			t.Errorf("identifier %q stands twice in the page", m[1])
		}
		ids[m[1]] = true
	}
	info, err := os.Stat(filepath.Join(dir, "committee.html"))
	if err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("committee.html has mode %v, wanted 0640 (%v)", info.Mode().Perm(), err)
	}
	if info.Size() > 2<<20 {
		t.Errorf("committee.html has %d bytes, the bar is 2 MB", info.Size())
	}
}

func TestSameInputSameBytes(t *testing.T) {
	in := fabricate(t, 300)
	a, b, _ := made(t, in)
	c, d, _ := made(t, in)
	if !bytes.Equal([]byte(a), []byte(c)) || b != d {
		t.Error("two packs of the same input differ")
	}
}

func TestEmptyMonthSaysWhy(t *testing.T) {
	in := fabricate(t, 100)
	in.from, in.to = "2030-01", "2030-01"
	committee, cases, _ := made(t, in)
	for _, wanted := range []string{"No plasma was issued in Jan 2030", "have not been read", "Too little data to draw.", "measures: no weight is known"} {
		if !strings.Contains(committee, wanted) {
			t.Errorf("the pack of an empty month does not say %q", wanted)
		}
	}
	for _, wrong := range []string{"it would give small counts away</dd>", "too few are judged"} {
		if strings.Contains(committee, wrong) {
			t.Errorf("the pack of an empty month says %q, where there is nothing to show", wrong)
		}
	}
	if strings.Contains(committee, "were thrown away and") {
		t.Error("an empty month speaks of waste, of which nothing was read")
	}
	if !strings.Contains(cases, "No episode began in this period.") {
		t.Error("cases.html of an empty month does not say so")
	}
}

// Where every count is small each tile says that it is hidden.
func TestTilesOfASmallHospital(t *testing.T) {
	in := fabricate(t, 100)
	in.format.Small = 1000
	in.sources = append(in.sources, Source{Table: "measures", Read: 1, Accepted: 1})
	committee, _, _ := made(t, in)
	strip := regexp.MustCompile(`(?s)<dl class="strip">.*?</dl>`).FindString(committee)
	tiles := regexp.MustCompile(`<dd>([^<]*)</dd>`).FindAllStringSubmatch(strip, -1)
	if len(tiles) != 6 || tiles[0][1] != "hidden" || tiles[2][1] != "hidden" {
		t.Errorf("the tiles say %q", tiles)
	}
	if !strings.Contains(committee, "it would give small counts away</dd>") {
		t.Error("no tile says why it is hidden")
	}
}

func TestNothingAtAll(t *testing.T) {
	in := fabricate(t, 0)
	in.files, in.sources = nil, nil
	committee, _, _ := made(t, in)
	if !strings.Contains(committee, "Nothing has been read.") {
		t.Error("the pack of an empty store does not say so")
	}
}

func TestSumsThatDifferMakeNoPack(t *testing.T) {
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	in := fabricate(t, 20)
	in.sources[0].Rejected++
	if err := in.load(ctx, e); err != nil {
		t.Fatal(err)
	}
	if err := in.check(ctx, e); err == nil || !strings.Contains(err.Error(), "do not add up") {
		t.Errorf("rows that do not add up: %v", err)
	}
	in.sources[0].Rejected--
	if err := in.check(ctx, e); err != nil {
		t.Error(err)
	}
	if err := e.Exec(ctx, "break", "CREATE OR REPLACE TABLE e2 AS SELECT * FROM episodes; DROP VIEW episodes; CREATE TABLE episodes AS SELECT * REPLACE (CASE WHEN rowid = 0 THEN 'no mark' ELSE mark END AS mark) FROM e2"); err != nil {
		t.Fatal(err)
	}
	if err := in.check(ctx, e); err == nil || !strings.Contains(err.Error(), "with a mark") {
		t.Errorf("an episode with an unknown mark: %v", err)
	}
}

// unlabelled takes from a page the labels that cells bear where rows are cards.
func unlabelled(page string) string {
	return regexp.MustCompile(` data-label="[^"]*"`).ReplaceAllString(page, "")
}

// TestTablesAreLaidOut says of tables of so many rows and heads how they stand to their
// charts.
func TestTablesAreLaidOut(t *testing.T) {
	table := func(rows int, text string, heads ...string) *panel {
		p := &panel{}
		for _, title := range heads {
			p.Heads = append(p.Heads, head{Title: title, Numeric: true})
		}
		p.Heads[0].Numeric = false
		for range rows {
			row := []cell{{Text: text}}
			for range heads[1:] {
				row = append(row, cell{Text: "10", Numeric: true})
			}
			p.Rows = append(p.Rows, row)
		}
		p.layOut()
		return p
	}
	long := "Assessment and Short Stay Unit (North Block)"
	for _, c := range []struct {
		what                                   string
		p                                      *panel
		short, brief, wide, under, held, halve bool
	}{
		{"a few rows", table(3, "ward", "Place", "Units"), true, true, false, false, true, false},
		{"rows that fill the height of a chart", table(16, "ward", "Place", "Units"), false, false, false, false, false, false},
		{"a row more", table(17, "ward", "Place", "Units"), false, false, false, true, false, false},
		{"two years of months", table(24, "Nov 2024", "Month", "Units"), false, false, false, true, false, true},
		{"a head of five words", table(24, "Nov 2024", "Month", "Days since the one before"), false, false, false, true, false, false},
		{"long names", table(24, long, "Place", "Appropriate", "Judged"), false, false, false, true, false, false},
		{"ten years of months", table(120, "Nov 2024", "Month", "Units"), false, false, false, true, false, false},
		{"few rows of many columns", table(2, "child", "Who", "Appropriate", "Under-dosed", "Non-bleeding", "Unsupported", "Undetermined"), true, true, true, true, true, false},
	} {
		p := c.p
		if p.Short != c.short || p.Brief != c.brief || p.Wide != c.wide || p.Under != c.under || p.Held != c.held || p.Halves != c.halve {
			t.Errorf("%s: short %v, brief %v, wide %v, under %v, held %v, halves %v", c.what, p.Short, p.Brief, p.Wide, p.Under, p.Held, p.Halves)
		}
	}
}
