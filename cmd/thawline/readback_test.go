package main

import (
	"fmt"
	"math"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"thawline/dashboards"
	"thawline/internal/figure"
	"thawline/queries"
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
	measured    float64
)

// wanted is what a figure must say.
type wanted struct {
	// heads are the columns compared, in their order; others of the table are not.
	heads []string
	rows  [][]any
	// says are the values of the sentence, by the name in the dashboard.
	says map[string]any
}

const smallCount = 5

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
	text := strconv.FormatFloat(p, 'f', decimals, 64)
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

func isSmall(n int) bool { return n > 0 && n < smallCount }

// text is how a page writes a value that it shows; must says that it may not
// show it, may that it may hide it.
func text(v any) (shown string, must, may bool) {
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
		return withCommas(int(v)), isSmall(int(v)), true
	case bags:
		return withCommas(int(v)), false, false
	case part:
		return share(v.n, v.of), isSmall(v.n) || isSmall(v.of) || isSmall(v.of-v.n), true
	case bagPart:
		return share(v.n, v.of), false, false
	case interval:
		return bounds(v.n, v.of), isSmall(v.n) || isSmall(v.of) || isSmall(v.of-v.n), true
	case bagInterval:
		return bounds(v.n, v.of), false, false
	case measured:
		return strings.TrimRight(strings.TrimRight(strconv.FormatFloat(float64(v), 'f', 2, 64), "0"), "."), false, true
	case string:
		return v, false, false
	}
	panic(fmt.Sprintf("a value of kind %T", v))
}

// differs says what is wrong with what a page says of a value, or nothing.
func differs(said string, v any) string {
	shown, must, may := text(v)
	switch strings.ToLower(said) {
	case "hidden", "some", "a hidden number of":
		if !may {
			return fmt.Sprintf("is hidden, and is no count of people: %s", shown)
		}
		return ""
	}
	switch {
	case said != shown:
		return fmt.Sprintf("says %q, recomputed %q", said, shown)
	case must:
		return fmt.Sprintf("shows %q, which is small", said)
	}
	return ""
}

// article is one figure of a page.
type article struct {
	says  string
	heads []string
	rows  [][]string
	svg   *html.Node
}

// packPage is a page of a committee, read.
type packPage struct {
	sentences []string
	tiles     map[string][2]string // figure and note, by label
	note      string
	articles  map[string]*article
	order     []string
}

func walk(n *html.Node, visit func(*html.Node) bool) {
	if !visit(n) {
		return
	}
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		walk(c, visit)
	}
}

func attr(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func plainText(n *html.Node) string {
	var b strings.Builder
	walk(n, func(n *html.Node) bool {
		if n.Type == html.TextNode {
			b.WriteString(n.Data)
		}
		return true
	})
	return strings.Join(strings.Fields(b.String()), " ")
}

// find lists the elements of a name, and class where it is not empty, under n.
func find(n *html.Node, name, class string) []*html.Node {
	var all []*html.Node
	walk(n, func(c *html.Node) bool {
		if c.Type == html.ElementNode && c.Data == name && (class == "" || strings.Contains(" "+attr(c, "class")+" ", " "+class+" ")) {
			all = append(all, c)
		}
		return true
	})
	return all
}

func readPack(t *testing.T, text string) *packPage {
	t.Helper()
	root, err := html.Parse(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	p := &packPage{tiles: map[string][2]string{}, articles: map[string]*article{}}
	for _, box := range find(root, "div", "answer") {
		for _, one := range find(box, "p", "") {
			p.sentences = append(p.sentences, plainText(one))
		}
	}
	for _, strip := range find(root, "dl", "strip") {
		for _, tile := range find(strip, "div", "") {
			dd := find(tile, "dd", "")
			p.tiles[plainText(find(tile, "dt", "")[0])] = [2]string{plainText(dd[0]), plainText(dd[1])}
		}
		for next := strip.NextSibling; next != nil && p.note == ""; next = next.NextSibling {
			if next.Data == "h3" {
				break
			}
			p.note = plainText(next)
		}
	}
	for _, node := range find(root, "article", "") {
		a := &article{says: plainText(find(node, "p", "says")[0])}
		if drawn := find(node, "svg", ""); len(drawn) > 0 {
			a.svg = drawn[0]
		}
		for _, table := range find(node, "table", "") {
			for _, row := range find(table, "tr", "") {
				if heads := find(row, "th", ""); len(heads) > 0 {
					for _, h := range heads {
						a.heads = append(a.heads, plainText(h))
					}
					continue
				}
				var cells []string
				for _, c := range find(row, "td", "") {
					cells = append(cells, plainText(c))
				}
				a.rows = append(a.rows, cells)
			}
		}
		id := strings.TrimPrefix(attr(node, "id"), "f-")
		p.articles[id] = a
		p.order = append(p.order, id)
	}
	return p
}

// panelsByID are the dashboard's panels by the identifier that a page gives them.
func panelsByID(t *testing.T) map[string]figure.Panel {
	t.Helper()
	defined, err := figure.Load(queries.FS, "figures", "queries/figures")
	if err != nil {
		t.Fatal(err)
	}
	d, err := figure.LoadDashboard(dashboards.FS, "committee.yaml", defined)
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]figure.Panel{}
	for _, s := range d.Sections {
		for _, p := range s.Panels {
			id := p.Figure
			for n := 2; all[id].Figure != ""; n++ {
				id = fmt.Sprintf("%s-%d", p.Figure, n)
			}
			all[id] = p
		}
	}
	return all
}

var hole = regexp.MustCompile(`\{([a-z0-9_]+)\}`)

// spoken finds, in a sentence made from a template, what stands in each hole.
func spoken(template, said string) (map[string]string, bool) {
	var form strings.Builder
	form.WriteString("(?i)^")
	var names []string
	last := 0
	for _, m := range hole.FindAllStringSubmatchIndex(template, -1) {
		form.WriteString(regexp.QuoteMeta(template[last:m[0]]) + "(.+?)")
		names = append(names, template[m[2]:m[3]])
		last = m[1]
	}
	form.WriteString(regexp.QuoteMeta(template[last:]) + "$")
	found := regexp.MustCompile(form.String()).FindStringSubmatch(said)
	if found == nil {
		return nil, false
	}
	values := map[string]string{}
	for i, name := range names {
		values[name] = found[i+1]
	}
	return values, true
}

// checkPack compares a page with what was recomputed and lists what differs.
func checkPack(t *testing.T, p *packPage, panels map[string]figure.Panel, want map[string]wanted) []string {
	t.Helper()
	var wrong []string
	fault := func(format string, a ...any) { wrong = append(wrong, fmt.Sprintf(format, a...)) }
	for id, w := range want {
		a := p.articles[id]
		if a == nil {
			fault("%s does not stand in the page", id)
			continue
		}
		if values, ok := spoken(panels[id].Says, a.says); !ok {
			fault("%s: the sentence %q is not of the form %q", id, a.says, panels[id].Says)
		} else {
			for name, said := range values {
				v, told := w.says[name]
				if !told {
					fault("%s: {%s} (%s) is recomputed by nobody", id, name, said)
					continue
				}
				if why := differs(said, v); why != "" {
					fault("%s: {%s} %s", id, name, why)
				}
			}
		}
		wrong = append(wrong, checkTable(id, a, w)...)
		if a.svg != nil {
			wrong = append(wrong, checkDrawing(id, a, panels[id])...)
		}
	}
	return wrong
}

// checkTable compares the table under a figure.
func checkTable(id string, a *article, w wanted) (wrong []string) {
	if len(a.rows) != len(w.rows) {
		return []string{fmt.Sprintf("%s: %d rows, recomputed %d", id, len(a.rows), len(w.rows))}
	}
	for c, head := range w.heads {
		at := -1
		for i, h := range a.heads {
			if h == head {
				at = i
			}
		}
		if at < 0 {
			wrong = append(wrong, fmt.Sprintf("%s: no column %q", id, head))
			continue
		}
		for r, row := range w.rows {
			if why := differs(a.rows[r][at], row[c]); why != "" {
				wrong = append(wrong, fmt.Sprintf("%s: row %d (%s), %s %s", id, r+1, a.rows[r][0], head, why))
			}
		}
	}
	return wrong
}

// demoPack is the text of the demo's pack of its last month.
func demoPack(t *testing.T) string {
	t.Helper()
	return readFile(t, filepath.Join(filepath.Dir(demoSite(t)), "store", "packs", demoMonth, "committee.html"))
}

// TestPackIsReadBack reads every number of the demo's pack that is recomputed,
// and lists the figures that nobody recomputes yet: they must not grow.
func TestPackIsReadBack(t *testing.T) {
	d := readRows(t)
	p := readPack(t, demoPack(t))
	panels, want := panelsByID(t), d.figures()
	for _, wrong := range append(checkPack(t, p, panels, want), d.checkAnswer(p)...) {
		t.Error(wrong)
	}
	drawn := 0
	for _, id := range p.order {
		_, recomputed := want[id]
		if recomputed == notRecomputed[id] {
			t.Errorf("%s: recomputed here %t, listed as not recomputed %t", id, recomputed, notRecomputed[id])
		}
		if recomputed && p.articles[id].svg != nil {
			drawn++
		}
	}
	t.Logf("%d of %d figures recomputed, %d of their drawings measured", len(want), len(p.order), drawn)
}

// TestReadBackNotices changes one thing of the page at a time: each must be seen.
func TestReadBackNotices(t *testing.T) {
	d := readRows(t)
	page := demoPack(t)
	panels, want := panelsByID(t), d.figures()
	in := func(id, form, with string) string {
		from := strings.Index(page, `<article id="f-`+id+`"`)
		to := from + strings.Index(page[from:], "</article>")
		found := regexp.MustCompile(form).FindStringIndex(page[from:to])
		if found == nil {
			t.Fatalf("%s holds nothing like %s", id, form)
		}
		return page[:from+found[0]] + with + page[from+found[1]:]
	}
	for what, changed := range map[string]string{
		"a tile":                   strings.Replace(page, "<dt>bags given</dt><dd>", "<dt>bags given</dt><dd>9", 1),
		"the first sentence":       strings.Replace(page, " bags were given.", "1 bags were given.", 1),
		"a sentence of a figure":   in("waste_by_month", `<p class="says">`, `<p class="says">1`),
		"a cell":                   in("appropriate_by_month", `<td class="n">`, `<td class="n">1`),
		"a hidden cell":            in("marks_by_month", `<td class="n hid">hidden`, `<td class="n">3`),
		"a bar's length":           in("use_by_month", `l0 -[0-9.]+l-`, "l0 -199l-"),
		"a point's place":          in("waste_by_month", `matrix\(3\.5,0,0,3\.5,([0-9.]+),[0-9.]+\)`, "matrix(3.5,0,0,3.5,70.2917,99)"),
		"a row less":               in("reasons", `<tr><td>.*</tr>\n`, ""),
		"a bar for a hidden count": in("units_given", `ecmeta_data_index="1"`, `ecmeta_data_index="0"`),
	} {
		if changed == page {
			t.Errorf("%s: nothing was changed", what)
			continue
		}
		p := readPack(t, changed)
		if len(checkPack(t, p, panels, want))+len(d.checkAnswer(p)) == 0 {
			t.Errorf("%s was changed, and nobody noticed", what)
		}
	}
}
