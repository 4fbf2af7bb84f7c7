package pack

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/goccy/go-yaml"

	"thawline/internal/audit"
	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/figure"
	"thawline/internal/ingest"
	"thawline/internal/invent"
	"thawline/internal/policy"
	"thawline/internal/site"
	"thawline/internal/store"
	"thawline/internal/words"
	"thawline/queries"
)

// letters of the language that is made up for these tests: each letter of English is
// another one, so that any letter of English in a page was written by something else.
const (
	plainLetters   = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
	foreignLetters = "абвгдежзийклмнопрстуфхцшыяАБВГДЕЖЗИЙКЛМНОПРСТУФХЦШЫЯ"
)

// keptForm is what a text keeps in any language: places to fill in, and the name of one
// that chooses among words.
var keptForm = regexp.MustCompile(`%(\[\d\])?[sd%]|\{[a-z0-9_]+\}|\{[a-z0-9_]+:`)

// foreign is a text in the language that is made up.
func foreign(text string) string {
	plain, other := []rune(plainLetters), []rune(foreignLetters)
	turn := strings.NewReplacer(func() (pairs []string) {
		for i := range plain {
			pairs = append(pairs, string(plain[i]), string(other[i]))
		}
		return pairs
	}()...)
	var out strings.Builder
	for {
		at := keptForm.FindStringIndex(text)
		if at == nil {
			return out.String() + turn.Replace(text)
		}
		out.WriteString(turn.Replace(text[:at[0]]) + text[at[0]:at[1]])
		text = text[at[1]:]
	}
}

// english is what a text in that language was.
func english(text string) string {
	plain, other := []rune(plainLetters), []rune(foreignLetters)
	return strings.Map(func(r rune) rune {
		if i := slices.Index(other, r); i >= 0 {
			return plain[i]
		}
		return r
	}, text)
}

// ownTexts lists what a language gives under texts: all that the program says in
// English elsewhere than in internal/words.
func ownTexts(t *testing.T) (all []string) {
	t.Helper()
	seen := map[string]bool{}
	add := func(texts ...string) {
		for _, text := range texts {
			if regexp.MustCompile(`\pL{2}`).MatchString(text) && !seen[text] {
				seen[text] = true
				all = append(all, text)
			}
		}
	}
	codes := func(list ...string) {
		for _, one := range list {
			add(strings.ReplaceAll(one, "_", " "))
		}
	}
	must := func(err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	// The dashboard and the figures.
	d, defined, err := panels(nil)
	must(err)
	for i := range d.Sections {
		for _, text := range sectionTexts(&d.Sections[i]) {
			add(*text)
		}
	}
	for _, name := range sortedNames(defined) {
		for _, text := range definitionTexts(defined[name]) {
			add(*text)
		}
	}
	// Labels that stand in figures without a record: bands, steps, days of the week.
	add(labelsOf(t, fabricate(t, 0))...)
	// Labels that a query writes where it finds something.
	literal := regexp.MustCompile(`'([^'\n]*)'`)
	must(fs.WalkDir(queries.FS, ".", func(path string, _ fs.DirEntry, err error) error {
		if shown := strings.HasPrefix(path, "figures/") || strings.HasPrefix(path, "5-shared/"); err != nil || !shown || filepath.Ext(path) != ".sql" {
			return err
		}
		text, err := queries.FS.ReadFile(path)
		for _, line := range strings.Split(string(text), "\n") {
			if strings.HasPrefix(strings.TrimSpace(line), "--") {
				continue
			}
			for _, m := range literal.FindAllStringSubmatch(line, -1) {
				// What a query joins with others ends at its joint: "not run: ".
				for _, joint := range []string{": ", ", ", "; ", " → "} {
					m[1] = strings.TrimSuffix(m[1], joint)
				}
				if !strings.ContainsAny(m[1], `%|\`) && !strings.HasSuffix(m[1], " ") {
					codes(m[1])
				}
			}
		}
		return err
	}))
	for _, mark := range []string{"non-bleeding", "unsupported"} {
		add("given, marked " + mark) // queries/figures/avoidable.sql
	}
	// Codes of the tables, and the words of the decision table.
	for _, table := range append(contract.Audit(), contract.Feeds()...) {
		codes(table.Name)
		for _, c := range table.Columns {
			codes(c.Codes...)
		}
	}
	text, err := queries.FS.ReadFile("marks.csv")
	must(err)
	table, err := csv.NewReader(strings.NewReader(string(text))).ReadAll()
	must(err)
	for _, row := range table {
		for _, cell := range row {
			codes(strings.Split(cell, "|")...)
		}
	}
	judges, err := policy.Default().Table()
	must(err)
	for _, c := range judges.Columns() {
		codes(c.Name)
	}
	// The rules: their names, what they say, and what they lack.
	rules, err := audit.Rules()
	must(err)
	for _, r := range rules {
		codes(r.Name, r.Header["severity"])
		add(strings.TrimSuffix(r.Says, "."))
		for _, need := range r.List("needs") {
			if name, found := strings.CutPrefix(need, "policy "); found {
				add("the policy sets no " + name)
			} else {
				add("no feed " + need)
			}
		}
	}
	// The policy's values, but for their names.
	add("none", policy.StatedBySite)
	for _, v := range policy.Default().Values() {
		add(v.Source, v.Unit)
		for _, part := range v.Parts {
			add(part.Name)
			switch value := part.Value.(type) {
			case string:
				add(value)
			case []string:
				codes(value...)
			}
		}
	}
	return all
}

// TestFactsHaveNames: every fact that cases.html shows, and every column by which a rule
// proves a finding, stands under facts in the file of English, so that a language names it.
func TestFactsHaveNames(t *testing.T) {
	columns := strings.Fields(caseFacts)
	columns = append(columns, contract.BeforeAfterTests...)
	for _, test := range contract.BeforeAfterTests {
		columns = append(columns, test+"_before", test+"_after")
	}
	rules, err := audit.Rules()
	if err != nil {
		t.Fatal(err)
	}
	comment, named := regexp.MustCompile(`--.*`), regexp.MustCompile(`(?i)(?: AS |\.)([a-z_0-9]+)$`)
	for _, r := range rules {
		// What the last SELECT that stands in no parentheses names.
		text, depth := "", 0
		for _, line := range strings.Split(comment.ReplaceAllString(r.SQL, ""), "\n") {
			if depth == 0 && strings.HasPrefix(line, "SELECT") {
				text = strings.TrimPrefix(line, "SELECT")
			} else {
				text += "\n" + line
			}
			depth += strings.Count(line, "(") - strings.Count(line, ")")
		}
		text, _, _ = strings.Cut(text, "\nFROM ")
		found := 0
		for i, from := 0, 0; i <= len(text); i++ {
			if i < len(text) && text[i] == '(' {
				depth++
			} else if i < len(text) && text[i] == ')' {
				depth--
			}
			if depth != 0 || i < len(text) && text[i] != ',' {
				continue
			}
			if m := named.FindStringSubmatch(strings.TrimSpace(text[from:i])); m != nil {
				found++
				if !slices.Contains([]string{"key", "episode_id", "result"}, m[1]) {
					columns = append(columns, m[1])
				}
			}
			from = i + 1
		}
		if found < 3 {
			t.Errorf("%s: %d columns are read of it, wanted key, episode_id and result at least", r.Path, found)
		}
	}
	for _, column := range columns {
		if words.English().Facts[column] == "" && column != "viscoelastic" && column != "fibrinogen" && column != "platelets" {
			t.Errorf("en.yaml names no fact %q", column)
		}
	}
}

func sortedNames(defined map[string]*figure.Definition) (names []string) {
	for name := range defined {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// labelsOf lists the words in the rows of figures; what only a language's own words say
// is not among them.
func labelsOf(t *testing.T, in *input) (labels []string) {
	t.Helper()
	e, err := engine.Open(context.Background(), engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	if err := in.load(context.Background(), e); err != nil {
		t.Fatal(err)
	}
	figures, _ := every(t, e, in)
	for _, f := range figures {
		for i, c := range f.Points {
			for _, row := range f.Rows {
				if label, ok := row[i].Value.(string); ok && c.Kind == figure.Label && c.Name != "what_if" && c.Name != "means" && !strings.HasPrefix(label, "not run: ") {
					labels = append(labels, label)
				}
			}
		}
	}
	return labels
}

// draft is the file of another language, each text turned.
func draft(t *testing.T, name string, turn func(string) string) []byte {
	t.Helper()
	from := words.English()
	whole := map[string]any{"language": name}
	all := func(texts map[string]string) map[string]string {
		out := map[string]string{}
		for key, text := range texts {
			out[key] = turn(text)
		}
		return out
	}
	var months []string
	for _, m := range from.Months {
		months = append(months, turn(m))
	}
	texts := all(from.Texts)
	for _, text := range ownTexts(t) {
		if texts[text] == "" {
			texts[text] = turn(text)
		}
	}
	whole["words"], whole["facts"], whole["months"], whole["texts"] = all(from.Words), all(from.Facts), months, texts
	out, err := yaml.Marshal(whole)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestDraftOfALanguage writes, with THAWLINE_DRAFT=XX.yaml, the file of a language with
// all that it can give, in English: who translates begins there.
func TestDraftOfALanguage(t *testing.T) {
	into := os.Getenv("THAWLINE_DRAFT")
	if into == "" {
		t.Skip("THAWLINE_DRAFT=XX.yaml names the file to write")
	}
	text := draft(t, strings.TrimSuffix(filepath.Base(into), ".yaml"), func(text string) string { return text })
	if err := os.WriteFile(into, text, 0o640); err != nil {
		t.Fatal(err)
	}
}

// abroad are hospitals whose packs say together nearly all that the program can say.
var abroad = []struct {
	name, period string
	options      invent.Options
	// feeds are all that the site has; the demonstration's where empty.
	feeds []string
}{
	{"demo", "2026-10", invent.Options{Labs: 14_000}, nil},
	{"no-events", "2026-10", invent.Options{Months: 4, Labs: 2_000, NoEvents: true}, nil},
	{"empty-month", "2026-10", invent.Options{Months: 4, Labs: 2_000, NoPlasmaAtEnd: true}, nil},
	{"unread-month", "2026-11", invent.Options{Months: 3, Beds: 40, Episodes: 9, Labs: 400, Careless: true}, nil},
	{"two-feeds", "2026-10", invent.Options{Months: 4, Labs: 2_000}, []string{"issues", "labs"}},
}

// TestASecondLanguage makes packs in a language that is a file and nothing else, for a
// site that writes numbers with a comma, and looks at every text of their pages that a
// person reads: whatever is still English, or has a decimal point, is a fault.
func TestASecondLanguage(t *testing.T) {
	file := draft(t, "xx", foreign)
	language, err := words.LoadFrom(fstest.MapFS{"xx.yaml": &fstest.MapFile{Data: file}}, "xx")
	if err != nil {
		t.Fatal(err)
	}
	// Another order of what is filled in changes nothing that the page's first words say.
	language.Words["signal_at"] = "%[2]s — %[1]s %[3]s."
	for _, one := range abroad {
		t.Run(one.name, func(t *testing.T) {
			in, pages, inEnglish := packsAbroad(t, language, one.period, one.options, one.feeds)
			own := ownNames(t, in)
			if signals := foreign("the control chart signals a change ("); one.name == "demo" && !strings.Contains(pages["committee.html"], signals) {
				t.Error("the answer tells no signal")
			}
			// In English too, what figures and the policy say has the site's numbers.
			for _, said := range spoken(t, inEnglish) {
				if number := pointForm.FindString(said.text); number != "" {
					t.Errorf("committee.html in English, %s: %q has a decimal point, in %q", said.where, number, said.text)
				}
			}
			for name, page := range pages {
				seen := 0
				for _, said := range spoken(t, page) {
					seen++
					if left := leftEnglish(said.text, own); left != "" {
						t.Errorf("%s, %s: %q is English in %q", name, said.where, left, english(said.text))
					}
					if number := pointForm.FindString(said.text); number != "" {
						t.Errorf("%s, %s: %q has a decimal point, in %q", name, said.where, number, english(said.text))
					}
				}
				if least := map[string]int{"committee.html": 900, "cases.html": 40, "index.html": 20}[name]; seen < least {
					t.Errorf("%s has %d texts, wanted at least %d: the test proves little", name, seen, least)
				}
			}
		})
	}
}

// pointForm is a number with a decimal point where a comma is wanted: a point between
// thousands has three digits after it.
var pointForm = regexp.MustCompile(`(?:^|[^0-9.,])[0-9]+\.(?:[0-9]{1,2}|[0-9]{4,})(?:[^0-9.,]|$)`)

// packsAbroad invents a hospital and makes its packs of two months in a language.
func packsAbroad(t *testing.T, language *words.Language, period string, options invent.Options, feeds []string) (in *input, pages map[string]string, inEnglish string) {
	t.Helper()
	ctx, dir := context.Background(), t.TempDir()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	_, err := invent.Write(dir, 1, options)
	must(err)
	file := filepath.Join(dir, "site.yaml")
	text, err := os.ReadFile(file)
	must(err)
	if len(feeds) > 0 {
		text = feedForm.ReplaceAllFunc(text, func(feed []byte) []byte {
			if slices.Contains(feeds, string(feedForm.FindSubmatch(feed)[1])) {
				return feed
			}
			return nil
		})
	}
	must(os.WriteFile(file, append(text, "decimal: comma\ndate_form: 02.01.2006\n"...), 0o640))
	policyFile := filepath.Join(dir, "policy.yaml")
	policyText, err := os.ReadFile(policyFile)
	must(err)
	must(os.WriteFile(policyFile, append(policyText, "over_bleeding: {value: 1.6, approved: {by: QQBY, on: 2025-06-12}}\nbleeding_recorded_in: events indication\n"...), 0o640))
	s, err := site.Load(file)
	must(err)
	p, err := policy.Load(s.Policy)
	must(err)
	st, err := store.Open(s.Store, true)
	must(err)
	defer st.Close()
	if _, err := ingest.Run(ctx, s, st, nil); err != nil && ingest.IsConfiguration(err) {
		t.Fatal(err)
	}
	_, err = audit.Current(ctx, st, s)
	must(err)
	_, err = audit.Mark(ctx, st, s, p)
	must(err)
	lacks := []Reason{{"lacks_product", []any{`"QQ1"`, int64(1234)}}, {"lacks_unnamed_product", []any{int64(2), int64(3)}}, {"lacks_rows", []any{int64(2), int64(3), "2026-10", 0.05}}, {"lacks_rows_run", []any{int64(2), int64(3), 0.05}}, {"lacks_marks", []any{int64(2), int64(3), "2026-10", 0.05}}}
	var paths Paths
	for i, month := range []string{"2026-09", period} {
		in, err = newInput(ctx, st, s, p, Options{From: month, To: month, Version: "9.9.9", Today: "2026-12-05", Provisional: lacks, Behind: audit.Behind{Current: i == 0, Audit: i == 1}})
		must(err)
		in.format.Language = language
		in.provisional = nil
		for _, one := range lacks {
			in.provisional = append(in.provisional, one.Say(in.format))
		}
		ready, err := Prepare(ctx, s.Zone)
		must(err)
		paths, err = in.build(ctx, ready, st, "")
		ready.Close()
		must(err)
		if month == period {
			in, err := newInput(ctx, st, s, p, Options{From: month, To: month, Version: "9.9.9", Today: "2026-12-05"})
			must(err)
			ready, err := Prepare(ctx, s.Zone)
			must(err)
			paths, err := in.build(ctx, ready, st, t.TempDir())
			ready.Close()
			must(err)
			text, err := os.ReadFile(paths.Committee)
			must(err)
			inEnglish = string(text)
		}
		if i == 0 {
			// A reviewer read some of its cases.
			cases, err := os.ReadFile(paths.Cases)
			must(err)
			reviews := "episode,word,date\n"
			for k, m := range regexp.MustCompile(`<article class="case" id="e-([^"]+)"`).FindAllStringSubmatch(string(cases), 20) {
				reviews += m[1] + "," + contract.Marks[k%3] + ",2026-10-10\n"
			}
			must(os.WriteFile(filepath.Join(dir, site.ReviewsFile), []byte(reviews), 0o640))
		}
	}
	pages = map[string]string{}
	for _, path := range []string{paths.Committee, paths.Cases, paths.Index} {
		text, err := os.ReadFile(path)
		must(err)
		pages[filepath.Base(path)] = string(text)
		if keep := os.Getenv("THAWLINE_KEEP_PACK"); keep != "" {
			must(os.MkdirAll(filepath.Join(keep, t.Name()), 0o750))
			must(os.WriteFile(filepath.Join(keep, t.Name(), filepath.Base(path)), text, 0o640))
		}
	}
	return in, pages, inEnglish
}

// feedForm is a feed of site.yaml.
var feedForm = regexp.MustCompile(`(?m)^  - table: (\w+)[^\n]*\n(?:    [^\n]*\n)*`)

// ownNames lists what a hospital wrote itself, the longest first, and names that are no
// words: those of policy values.
func ownNames(t *testing.T, in *input) (names []string) {
	t.Helper()
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	if err := in.loadTables(ctx, e); err != nil {
		t.Fatal(err)
	}
	_, rows, err := e.Rows(ctx, "names", `SELECT DISTINCT name FROM (
SELECT issues.location AS name FROM issues UNION ALL SELECT issues.specialty FROM issues UNION ALL SELECT issues.product_code FROM issues UNION ALL SELECT issues.unit_no FROM issues
UNION ALL SELECT issues.source_file FROM issues UNION ALL SELECT labs.source_file FROM labs UNION ALL SELECT measures.source_file FROM measures UNION ALL SELECT events.source_file FROM events
UNION ALL SELECT labs.unit_raw FROM labs) WHERE name IS NOT NULL ORDER BY name`)
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows {
		names = append(names, row[0].(string))
	}
	names = append(names, in.hospital, in.currency, in.version, "QQ1", "QQBY")
	for _, source := range in.sources {
		names = append(names, source.File, source.SHA256[:16])
	}
	for _, one := range in.decided {
		names = append(names, one.Decision, one.Owner)
	}
	for _, one := range in.interventions {
		names = append(names, one.Name)
	}
	for _, v := range in.policy.Values() {
		names = append(names, v.Name)
		if v.SiteSource {
			names = append(names, v.Source)
		}
	}
	for _, p := range in.policy.Periods() {
		names = append(names, p.Hash)
	}
	slices.SortFunc(names, func(a, b string) int { return len(b) - len(a) })
	return slices.DeleteFunc(slices.Compact(names), func(name string) bool { return name == "" })
}

// TestWhatASiteSaysStands: the numbers in a site's own panels and rules stand as it wrote
// them, those in ours as the site writes numbers.
func TestWhatASiteSaysStands(t *testing.T) {
	in := &input{format: figure.Format{Comma: true}}
	const text = "Limit 1.5, of 1,234 bags"
	if got := in.said(text, true); got != text {
		t.Errorf("the site's own %q becomes %q", text, got)
	}
	if got := in.said(text, false); got != "Limit 1,5, of 1.234 bags" {
		t.Errorf("our %q becomes %q", text, got)
	}
	dir := t.TempDir()
	for name, text := range map[string]string{
		"panels.yaml": "sections:\n  - section: Our 2.5 wards\n    panels:\n      - {figure: own, says: 'Of 1.5', chart: table}\n",
		"own.sql":     "-- own: What is 0.5?\n--\n-- reads:     episodes\n-- points:    what: label; At 1.5\n-- answer:    n: units; N\nSELECT 'x' AS what\n-- answer\nSELECT 1 AS n\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	d, defined, err := panels([]sitePanels{{dir, "panels"}})
	if err != nil {
		t.Fatal(err)
	}
	in.speak(d, defined)
	s := d.Sections[len(d.Sections)-2]
	if got := s.Section + s.Panels[0].Says + defined["own"].Asks + defined["own"].Points[0].Title; got != "Our 2.5 wardsOf 1.5What is 0.5?At 1.5" {
		t.Errorf("a site's own panel says %q", got)
	}
}

// TestTheListOfPacksHangsOnNoLanguage: what a pack in another language said stands under
// its own head, and so does what a program said that knew no keys.
func TestTheListOfPacksHangsOnNoLanguage(t *testing.T) {
	mine := []headline{{Key: "head_given", Label: "gegeben"}, {Key: "head_lost", Label: "weg"}, {Key: "head_dose", Label: "Dosis"}}
	theirs := []headline{{Key: "head_lost", Figure: "3 %", Label: "thrown away"}, {Key: "head_given", Figure: "42", Label: "bags given"}, {Figure: "9", Label: "Dosis"}}
	var figures []string
	for _, one := range alike(mine, theirs) {
		figures = append(figures, one.Figure)
	}
	if wanted := []string{"42", "3 %", "9"}; !slices.Equal(figures, wanted) {
		t.Errorf("it says %q, wanted %q", figures, wanted)
	}
	if got := alike(mine, nil); len(got) != 3 || got[0].Figure != "–" {
		t.Errorf("of a pack that told nothing it says %v", got)
	}
}

// TestWhatIsEnglishIsSeen: the look finds what it is to find.
func TestWhatIsEnglishIsSeen(t *testing.T) {
	page := `<html><head><style>p::before{content:"\000046 ate"}@page{content:"page " counter(page)}</style><title>Audit</title></head><body><p title="Mark">Знак</p><p>Ward 3</p><svg><title>Chart</title><text>Oct</text></svg><select><option value="mark">все</option></select><script>var no = "word";</script></body></html>`
	var found []string
	for _, said := range spoken(t, page) {
		if left := leftEnglish(said.text, []string{"Ward 3"}); left != "" {
			found = append(found, left)
		}
	}
	if wanted := []string{"Fate", "page", "Audit", "Mark", "Chart", "Oct"}; !slices.Equal(found, wanted) {
		t.Errorf("found %q, wanted %q", found, wanted)
	}
	if got := leftOut("s yes s, Ward 1s", "s"); got != "  yes  , Ward 1 " {
		t.Errorf("without a name %q is left", got)
	}
	for text, wanted := range map[string]bool{"7.3 mL": true, "(0.25)": true, "1.234 Euro": false, "20.10.2026": false, "3.2.1": false, "1.5": true, "12:30.": false, "1.234,5": false} {
		if pointForm.MatchString(text) != wanted {
			t.Errorf("a decimal point in %q: %v", text, !wanted)
		}
	}
	if text := "{n:bag was|bags were} of %[2]s, {share}"; english(foreign(text)) != text || foreign("a {n} %s") != "а {n} %s" {
		t.Errorf("%q becomes %q", text, foreign(text))
	}
	if _, err := words.LoadFrom(fstest.MapFS{"xx.yaml": &fstest.MapFile{Data: []byte("language: xx\n")}}, "xx"); err == nil || errors.Is(err, fs.ErrNotExist) {
		t.Error(fmt.Errorf("a language without words is taken: %w", err))
	}
}
