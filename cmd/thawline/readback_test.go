package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"

	"thawline/internal/audit"
	"thawline/internal/figure"
)

// What the pack says is read back here: its sentences, tiles and tables out of
// the HTML, bars and points out of the drawings. The numbers are recomputed in
// readbackfigures_test.go from the rows of the audit tables, by other code than
// the pack's: nothing here runs a query of queries/figures.

// Numbers as a test expects them. Those of people may be hidden; bags may not.
type (
	persons int
	bags    int
	// part is a share of two counts of people, bagPart one of bags.
	part    struct{ n, of int }
	bagPart struct{ n, of int }
	// interval is the 95 % interval of a share, as Wilson 1927 gives it.
	interval    part
	bagInterval bagPart
	// peopled is a number made of so many people, hidden where they are few; figured
	// is made of bags, or of what is shown.
	peopled struct {
		x        float64
		decimals int
		n        int
	}
	figured struct {
		x        float64
		decimals int
	}
	// fraction is a share made of what is shown, as a line of a chart is.
	fraction float64
)

// wanted is what a figure must say.
type wanted struct {
	// heads are the columns compared, in their order; others of the table are not.
	heads []string
	rows  [][]any
	// says are the values of the sentence, by the name in the dashboard.
	says map[string]any
	// none says that the sentence is the one for no data.
	none bool
	// limit is what a funnel's lines show for so many episodes, at a probability.
	limit func(size, p float64) float64
	// notes are what statistics add under the figure, word for word.
	notes []string
}

func withCommas(n int) string {
	if n < 1000 {
		return strconv.Itoa(n)
	}
	return withCommas(n/1000) + fmt.Sprintf(",%03d", n%1000)
}

func percent(x float64) string {
	p := 100 * x
	decimals := 0
	if p > 0 && p < 10 {
		decimals = 1
	}
	// A half is rounded up, though binary fractions miss it by a little.
	text := strconv.FormatFloat(p+1e-9, 'f', decimals, 64)
	return strings.TrimSuffix(text, ".0") + " %"
}

// wilson is the score interval, from its formula.
func wilson(k, n int) (low, high float64) {
	const z = 1.959963984540054
	p, m := float64(k)/float64(n), float64(n)
	middle := p + z*z/(2*m)
	half := z * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return math.Max(0, (middle-half)/(1+z*z/m)), math.Min(1, (middle+half)/(1+z*z/m))
}

// decimal writes a number to so many decimals at most.
func decimal(x float64, decimals int) string {
	if math.IsNaN(x) {
		return "–"
	}
	whole, rest, _ := strings.Cut(strconv.FormatFloat(math.Abs(x), 'f', decimals, 64), ".")
	n, err := strconv.Atoi(whole)
	if err != nil {
		return whole
	}
	text := strings.TrimSuffix(withCommas(n)+"."+strings.TrimRight(rest, "0"), ".")
	if x < 0 && text != "0" {
		return "−" + text
	}
	return text
}

// fixed writes a number of a sentence to just so many decimals.
func fixed(x float64, decimals int) string {
	text := decimal(x, decimals)
	whole, rest, _ := strings.Cut(text, ".")
	return whole + "." + rest + strings.Repeat("0", decimals-len(rest))
}

func (d *rows) isSmall(n int) bool { return n > 0 && n < d.small }

// text is how a page writes a value that it shows; must says that it may not
// show it, may that it may hide it.
func (d *rows) text(v any) (shown string, must, may bool) {
	hides := d.small > 1
	share := func(n, of int) string {
		if of == 0 {
			return "–"
		}
		return percent(float64(n) / float64(of))
	}
	bounds := func(n, of int) string {
		low, high := wilson(n, of)
		return percent(low) + " to " + percent(high)
	}
	switch v := v.(type) {
	case persons:
		return withCommas(int(v)), d.isSmall(int(v)), hides
	case bags:
		return withCommas(int(v)), false, false
	case part:
		return share(v.n, v.of), d.isSmall(v.n) || d.isSmall(v.of) || d.isSmall(v.of-v.n), hides
	case bagPart:
		return share(v.n, v.of), false, false
	case interval:
		return bounds(v.n, v.of), d.isSmall(v.n) || d.isSmall(v.of) || d.isSmall(v.of-v.n), hides
	case bagInterval:
		return bounds(v.n, v.of), false, false
	case peopled:
		return decimal(v.x, v.decimals), d.isSmall(v.n), hides
	case figured:
		return decimal(v.x, v.decimals), false, false
	case fraction:
		if math.IsNaN(float64(v)) {
			return "–", false, false
		}
		return percent(float64(v)), false, false
	case string:
		return v, false, false
	}
	panic(fmt.Sprintf("a value of kind %T", v))
}

// halves are both ways to write a number that lies half way between two: a sum of
// floating-point numbers falls to either side.
func halves(v any) []string {
	switch v := v.(type) {
	case peopled:
		return []string{decimal(v.x-1e-9, v.decimals), decimal(v.x+1e-9, v.decimals)}
	case figured:
		return []string{decimal(v.x-1e-9, v.decimals), decimal(v.x+1e-9, v.decimals)}
	}
	return nil
}

// differs says what is wrong with what a page says of a value, or nothing.
func (d *rows) differs(said string, v any) string {
	shown, must, may := d.text(v)
	switch strings.ToLower(said) {
	case "hidden", "some", "a hidden number of":
		if !may {
			return fmt.Sprintf("is hidden, and is no count of people: %s", shown)
		}
		return ""
	}
	switch {
	case said != shown && !slices.Contains(halves(v), said):
		return fmt.Sprintf("says %q, recomputed %q", said, shown)
	case must:
		return fmt.Sprintf("shows %q, which is small", said)
	}
	return ""
}

// checkPack compares a page with what was recomputed and lists what differs.
func (d *rows) checkPack(p *packPage, panels map[string]figure.Panel, want map[string]wanted) (wrong []string) {
	for id, w := range want {
		a := p.articles[id]
		if a == nil {
			wrong = append(wrong, id+" does not stand in the page")
			continue
		}
		w = d.withLines(panels[id], a, w)
		w.rows = d.inOrder(panels[id], a, w)
		wrong = append(wrong, d.checkWords(id, a, panels[id], w)...)
		wrong = append(wrong, d.checkTable(id, a, w)...)
		if a.svg != nil {
			wrong = append(wrong, checkDrawing(id, a, panels[id], w)...)
		}
	}
	return wrong
}

// inOrder puts the rows of a figure whose commonest come first in the order in which a
// page must show them: those whose count it hides after those that it shows, by name,
// before the noughts.
func (d *rows) inOrder(p figure.Panel, a *article, w wanted) [][]any {
	of, ok := definition(p)
	if !ok || of.Commonest == "" {
		return w.rows
	}
	titles := map[string]string{}
	for _, c := range of.Points {
		titles[c.Name] = d.filled(c.Title)
	}
	by, within := slices.Index(w.heads, titles[of.Commonest]), slices.Index(w.heads, titles[of.Within])
	texts := func(row []any) (texts []string) {
		for _, c := range of.Points {
			if at := slices.Index(w.heads, d.filled(c.Title)); at >= 0 && c.Kind == figure.Label {
				texts = append(texts, strings.ToLower(row[at].(string)))
			}
		}
		return texts
	}
	hides := func(row []any) bool {
		return slices.ContainsFunc(a.rows, func(said []string) bool {
			for c, head := range w.heads {
				at := a.column(head)
				if text, ok := row[c].(string); at < 0 || ok && said[at] != text || c == by && said[at] != "hidden" {
					return false
				}
			}
			return true
		})
	}
	place := func(row []any) int {
		n, counted := row[by].(persons)
		switch {
		case hides(row):
			return 1
		case counted && n > 0:
			return 0
		}
		return 2
	}
	rows := slices.Clone(w.rows)
	for from := 0; from < len(rows); {
		to := from + 1
		for to < len(rows) && (within < 0 || rows[to][within] == rows[from][within]) {
			to++
		}
		slices.SortStableFunc(rows[from:to], func(x, y []any) int {
			if place(x) != place(y) || place(x) != 1 {
				return place(x) - place(y)
			}
			return slices.Compare(texts(x), texts(y))
		})
		from = to
	}
	return rows
}

// filled is the title of a column with the period and the year in it.
func (d *rows) filled(title string) string {
	return strings.NewReplacer("{period}", d.period(), "{span}", spanName).Replace(title)
}

// checkWords compares the sentence of a figure, the line under it and its notes.
func (d *rows) checkWords(id string, a *article, p figure.Panel, w wanted) (wrong []string) {
	fault := func(format string, a ...any) { wrong = append(wrong, id+": "+fmt.Sprintf(format, a...)) }
	form := p.Says
	switch n := w.says["n"]; {
	case w.none:
		form = p.SaysNone
	case p.SaysZero != "" && (n == persons(0) || n == bags(0)):
		form = p.SaysZero
	}
	said := a.says
	if p.Hidden != "" && slices.ContainsFunc(a.rows, func(row []string) bool { return slices.Contains(row, "hidden") }) {
		var told bool
		if said, told = strings.CutSuffix(said, " "+p.Hidden); !told {
			fault("the sentence %q does not say %q", a.says, p.Hidden)
		}
	}
	values, ok := spoken(form, said)
	if !ok {
		fault("the sentence %q is not of the form %q", a.says, form)
	}
	for name, said := range values {
		v, told := w.says[name]
		if !told {
			fault("{%s} (%s) is recomputed by nobody", name, said)
		} else if why := d.differs(said, v); why != "" {
			fault("{%s} %s", name, why)
		}
	}
	for _, one := range d.checkFacts(a, p, w) {
		fault("%s", one)
	}
	want, got := d.notes(a, p, w), slices.Clone(a.notes)
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(got, want) {
		fault("under it stands %q, wanted %q", got, want)
	}
	return wrong
}

// notes are what must stand under a figure: what statistics add, and what its file and
// its panel say.
func (d *rows) notes(a *article, p figure.Panel, w wanted) []string {
	all := slices.Clone(w.notes)
	switch {
	case len(p.Band) == 0 || a.tooFew == "" && len(a.rows) == 0:
	case p.Chart == "histogram" && a.svg != nil:
		all = append(all, "Shaded: the dose band of adults, 10 to 20 mL/kg, with its tolerance. A dose counts as below the band under 9.5 mL/kg, and as above it over 20.5 (a tolerance of 0.5 on each side).")
	default:
		all = append(all, "The dose band is 10 to 20 mL/kg. A dose counts as below it under 9.5 mL/kg, and as above it over 20.5 (a tolerance of 0.5 on each side).")
	}
	if bearsLine(a, p) {
		all = append(all, "Dashed lines: 1, 2025-11-12: "+interventionName+".")
	}
	if p.Note != "" {
		all = append(all, hole.ReplaceAllStringFunc(p.Note, func(name string) string {
			shown, _, _ := d.text(w.says[strings.Trim(name, "{}")])
			return shown
		}))
		all[len(all)-1] = strings.NewReplacer("[", "", "]", "").Replace(all[len(all)-1])
	}
	if p.Figure == "appropriate_by_month" {
		var without []string
		for _, m := range d.months {
			if d.withoutBleeding(m) {
				without = append(without, monthName(m))
			}
		}
		if len(without) > 0 {
			all = append(all, "Of "+strings.Join(without, ", ")+" no bleeding was read, so that nobody could be marked non-bleeding: the point stands, but it is a share of other episodes than those beside it.")
		}
	}
	hidden := strings.Contains(a.tooFew, "hidden") || slices.ContainsFunc(a.rows, func(row []string) bool { return slices.Contains(row, "hidden") })
	for _, word := range strings.FieldsFunc(strings.ToLower(a.says+" "+a.facts["n of N"]+" "+a.facts["not known"]), func(r rune) bool { return !unicode.IsLetter(r) }) {
		hidden = hidden || word == "some" || word == "hidden"
	}
	if hidden {
		all = append(all, fmt.Sprintf("“hidden”: a count under %d, or a larger one that would give such a count away.", d.small))
	}
	if away := isNotDrawn(a, p); len(away) > 0 {
		all = append(all, "Not drawn, since their numbers are hidden: "+strings.Join(away, "; ")+".")
	}
	if of, ok := definition(p); ok && of.NotKnown != "" {
		all = append(all, "Left out or not known: "+of.NotKnown+".")
	}
	if p.Beside != "" {
		all = append(all, "Beside it: "+p.Beside)
	}
	return all
}

// isNotDrawn names the rows of a chart of points of which a number is hidden.
func isNotDrawn(a *article, p figure.Panel) (names []string) {
	if (p.Chart != "funnel" && p.Chart != "effect") || a.tooFew != "" {
		return nil
	}
	for r, row := range a.rows {
		if slices.ContainsFunc(p.Y, func(name string) bool { return isHidden(a, r, head(p, name)) }) {
			names = append(names, row[0])
		}
	}
	return names
}

// checkFacts compares the line under a sentence.
func (d *rows) checkFacts(a *article, p figure.Panel, w wanted) (wrong []string) {
	compare := func(fact, said, name string) {
		if v, told := w.says[name]; !told {
			wrong = append(wrong, fmt.Sprintf("%s says %q, which nobody recomputes", fact, said))
		} else if why := d.differs(said, v); why != "" {
			wrong = append(wrong, fmt.Sprintf("%s: {%s} %s", fact, name, why))
		}
	}
	both, there := a.facts["n of N"]
	if there {
		n, of, _ := strings.Cut(both, " of ")
		compare("n of N", n, "n")
		compare("n of N", of, "of")
		_, stated := a.facts["95 % interval"]
		if hidden := strings.Contains(both, "hidden"); stated == (hidden || p.NoInterval) {
			wrong = append(wrong, fmt.Sprintf("n of N is %q, with an interval %t", both, stated))
		}
	}
	if said, there := a.facts["95 % interval"]; there {
		compare("95 % interval", said, "interval")
	}
	if said, there := a.facts["not known"]; there {
		compare("not known", said, "not_known")
	}
	return wrong
}

// checkTable compares the table under a figure.
func (d *rows) checkTable(id string, a *article, w wanted) (wrong []string) {
	if len(a.rows) == 0 && len(w.rows) > 0 && a.svg == nil {
		return d.checkLeftOut(id, a, w)
	}
	if len(a.rows) != len(w.rows) {
		return []string{fmt.Sprintf("%s: %d rows, recomputed %d", id, len(a.rows), len(w.rows))}
	}
	for c, head := range w.heads {
		at := a.column(head)
		if at < 0 {
			wrong = append(wrong, fmt.Sprintf("%s: no column %q", id, head))
			continue
		}
		for _, one := range ragged(a.rows, at, w.rows, c) {
			wrong = append(wrong, fmt.Sprintf("%s: %s: %s", id, head, one))
		}
		for r, row := range w.rows {
			if why := d.differs(untrailed(a.rows[r][at], row[c]), row[c]); why != "" {
				wrong = append(wrong, fmt.Sprintf("%s: row %d (%s), %s %s", id, r+1, a.rows[r][0], head, why))
			}
		}
	}
	return wrong
}

// checkLeftOut holds against what was recomputed that a page leaves a table out: all
// of its numbers must be hidden, and it must say so, or all nought.
func (d *rows) checkLeftOut(id string, a *article, w wanted) (wrong []string) {
	if strings.HasPrefix(id, "appropriate_by_month-") || strings.HasPrefix(id, "below_band_by_month-") {
		return nil // A second look without lines of its own.
	}
	hidden := strings.HasPrefix(a.tooFew, "The numbers that make it up are all hidden")
	for r, row := range w.rows {
		for c, v := range row {
			if _, text := v.(string); text {
				continue
			}
			shown, _, may := d.text(v)
			if hidden && !may || !hidden && !slices.Contains([]string{"0", "0 %", "–"}, shown) {
				wrong = append(wrong, fmt.Sprintf("%s: the table is left out, with %s in row %d, %s", id, shown, r+1, w.heads[c]))
			}
		}
	}
	return wrong
}

// isNumber says that a table writes a value to the decimals of its column.
func isNumber(v any) bool {
	switch v.(type) {
	case peopled, figured:
		return true
	}
	return false
}

// untrailed is a number of a table without the zeros that its column asks for.
func untrailed(said string, v any) string {
	if isNumber(v) && strings.Contains(said, ".") {
		return strings.TrimSuffix(strings.TrimRight(said, "0"), ".")
	}
	return said
}

// ragged lists what is wrong with the decimals of a column: all of its numbers must
// have as many as the one that needs most.
func ragged(rows [][]string, at int, wanted [][]any, c int) (wrong []string) {
	most := 0
	decimals := func(text string) int { _, rest, _ := strings.Cut(text, "."); return len(rest) }
	for r, row := range wanted {
		if isNumber(row[c]) {
			most = max(most, decimals(untrailed(rows[r][at], row[c])))
		}
	}
	for r, row := range wanted {
		if said := rows[r][at]; isNumber(row[c]) && said != "–" && said != "hidden" && decimals(said) != most {
			wrong = append(wrong, fmt.Sprintf("row %d has %d decimals (%s), the column wants %d", r+1, decimals(said), said, most))
		}
	}
	return wrong
}

// committee is the text of the committee's page of a site's pack of the last month.
func committee(t *testing.T, site string) string {
	t.Helper()
	return packOf(t, site, demoMonth)
}

func packOf(t *testing.T, site, period string) string {
	t.Helper()
	return readFile(t, filepath.Join(filepath.Dir(site), "store", "packs", period, "committee.html"))
}

// openDemo copies the demo for a committee that lets every count be shown, and whose
// reviewers have read some cases: here no number escapes by being hidden. The reviews
// come back as rows.
func openDemo(t *testing.T) (file string, reviews []row) {
	t.Helper()
	from, to := filepath.Dir(demoSite(t)), t.TempDir()
	if err := os.CopyFS(filepath.Join(to, "store"), os.DirFS(filepath.Join(from, "store"))); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"site.yaml", "policy.yaml", "decisions.yaml"} {
		write(t, filepath.Join(to, name), readFile(t, filepath.Join(from, name)))
	}
	write(t, filepath.Join(to, "policy.yaml"), readFile(t, filepath.Join(from, "policy.yaml"))+"small_count:\n  value: 1\n  source: the committee's minutes (invented)\n")
	file = filepath.Join(to, "site.yaml")
	_, st := openSite(t, file, false)
	key, err := st.Key()
	st.Close()
	if err != nil {
		t.Fatal(err)
	}
	lines := "episode,word,date,note\n"
	say := func(e row, word, date string) {
		lines += fmt.Sprintf("%s,%s,%s,\n", audit.Pseudonym(key, audit.EpisodeKind, e["episode_id"]), word, date)
		reviews = append(reviews, row{"episode_id": e["episode_id"], "word": word, "date": date})
	}
	for i, e := range table(t, file, "SELECT episode_id, mark FROM episodes WHERE month = '"+demoMonth+"' ORDER BY first_issued_at, episode_id LIMIT 30") {
		switch {
		case i%5 == 4:
			say(e, "unsupported", "2026-11-04")
		case i%7 == 6: // read twice: the later word counts
			say(e, e["mark"], "2026-11-04")
			say(e, "undetermined", "2026-11-03")
		default:
			say(e, e["mark"], "2026-11-02")
		}
	}
	write(t, filepath.Join(to, "reviews.csv"), lines)
	ask(t, "report", "--site", file, "--period", demoMonth, "--today", "2026-11-05")
	return file, reviews
}

// TestPackIsReadBack reads every number of the demo's pack; of the same pack of a site
// that lets every count be shown; and of that site's pack of three months.
func TestPackIsReadBack(t *testing.T) {
	panels := panelsByID(t)
	read := func(d *rows, page string) {
		p, want, drawn := readPack(t, page), d.recomputed(), 0
		for _, wrong := range d.check(p, panels) {
			t.Errorf("%s, counts from %d are shown: %s", d.period(), d.small, wrong)
		}
		for _, id := range p.order {
			if _, recomputed := want[id]; !recomputed {
				t.Errorf("%s: nobody recomputes it", id)
			}
			if p.articles[id].svg != nil {
				drawn++
			}
		}
		t.Logf("%d of %d figures recomputed, %d drawings measured", len(want), len(p.order), drawn)
	}
	d := readRows(t, demoSite(t))
	read(d, committee(t, demoSite(t)))

	file, reviews := openDemo(t)
	open := *d
	open.small, open.reviews, open.figure, open.policy = 1, reviews, nil, policyRows(t, file)
	read(&open, committee(t, file))

	quarter := open
	quarter.from, quarter.figure = "2026-08", nil
	ask(t, "report", "--site", file, "--period", "2026-08.."+demoMonth, "--today", "2026-11-05")
	read(&quarter, packOf(t, file, "2026-08.."+demoMonth))
}
