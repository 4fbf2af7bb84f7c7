package main

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"thawline/dashboards"
	"thawline/internal/figure"
	"thawline/queries"
)

// article is one figure of a page.
type article struct {
	asks  string
	says  string
	facts map[string]string // the line under the sentence
	// What stands around a drawing: the legend, the names of the axes, and the numbers of
	// the scale once more.
	legend      []string
	over, under string
	scale       *html.Node
	// tooFew stands in the place of a picture.
	tooFew string
	notes  []string
	heads  []string
	rows   [][]string
	svg    *html.Node
}

// column finds a column of the table by its head; -1 where there is none.
func (a *article) column(head string) int { return slices.Index(a.heads, head) }

// packPage is a page of a committee, read.
type packPage struct {
	sentences []string
	tiles     map[string][2]string // figure and note, by label
	note      string
	changes   []string
	// tables are those that belong to no figure, by the title over them.
	tables   map[string][][]string
	articles map[string]*article
	order    []string
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
	p := &packPage{tiles: map[string][2]string{}, articles: map[string]*article{}, tables: map[string][][]string{}}
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
		for next := strip.NextSibling; next != nil; next = next.NextSibling {
			switch next.Data {
			case "p":
				if p.note == "" {
					p.note = plainText(next)
				}
			case "ul":
				for _, one := range find(next, "li", "") {
					p.changes = append(p.changes, plainText(one))
				}
			}
		}
	}
	for _, node := range find(root, "article", "") {
		a := &article{asks: plainText(find(node, "h3", "")[0]), says: plainText(find(node, "p", "says")[0]), facts: map[string]string{}}
		for _, fact := range find(find(node, "p", "facts")[0], "span", "") {
			name := plainText(find(fact, "b", "")[0])
			a.facts[name] = strings.TrimSpace(strings.TrimPrefix(plainText(fact), name))
		}
		for _, box := range find(node, "p", "toofew") {
			a.tooFew = plainText(box)
		}
		for _, note := range find(node, "p", "small") {
			a.notes = append(a.notes, plainText(note))
		}
		for _, drawn := range find(node, "svg", "") {
			switch {
			case attr(drawn, "role") == "img":
				a.svg = drawn
			case attr(drawn, "class") == "scale":
				a.scale = drawn
			}
		}
		for _, list := range find(node, "ul", "legend") {
			for _, sign := range find(list, "li", "") {
				a.legend = append(a.legend, plainText(sign))
			}
		}
		for _, name := range find(node, "p", "") {
			switch attr(name, "class") {
			case "axis":
				a.over = plainText(name)
			case "axis foot":
				a.under = plainText(name)
			}
		}
		for _, table := range find(node, "table", "") {
			a.heads, a.rows = readTable(table)
		}
		id := strings.TrimPrefix(attr(node, "id"), "f-")
		p.articles[id] = a
		p.order = append(p.order, id)
	}
	for _, section := range find(root, "section", "") {
		title := ""
		for n := section.FirstChild; n != nil; n = n.NextSibling {
			if n.Data == "h3" {
				title = plainText(n)
			} else if all := find(n, "table", ""); n.Data == "div" && len(all) > 0 && title != "" {
				_, p.tables[title] = readTable(all[0])
			}
		}
	}
	return p
}

func readTable(table *html.Node) (heads []string, rows [][]string) {
	for _, row := range find(table, "tr", "") {
		var cells []string
		for _, c := range find(row, "td", "") {
			cells = append(cells, plainText(c))
		}
		if cells != nil {
			rows = append(rows, cells)
			continue
		}
		for _, h := range find(row, "th", "") {
			heads = append(heads, plainText(h))
		}
	}
	return heads, rows
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

var (
	hole   = regexp.MustCompile(`\{([a-z0-9_]+)(?::([^{}|]*)\|([^{}|]*))?\}`)
	aside  = regexp.MustCompile(` \([^()]*\{[^()]*\)`)
	clause = regexp.MustCompile(`\[([^\[\]]*)\]`)
)

// formOf writes the pattern of a sentence made from a template, and the holes in
// their order: what stands in brackets may be left out, and so may what stands in
// parentheses. A hole of what brackets hold is named NAME in brackets.
func formOf(template string) (form string, names []string) {
	last := 0
	for _, m := range clause.FindAllStringSubmatchIndex(template, -1) {
		before, ofBefore := formOfClause(template[last:m[0]])
		within, ofWithin := formOfClause(template[m[2]:m[3]])
		for _, name := range ofWithin {
			ofBefore = append(ofBefore, "["+name+"]")
		}
		form, names, last = form+before+"(?:"+within+")?", append(names, ofBefore...), m[1]
	}
	after, ofAfter := formOfClause(template[last:])
	return form + after, append(names, ofAfter...)
}

// formOfClause is formOf of what has no brackets.
func formOfClause(template string) (form string, names []string) {
	last := 0
	for _, m := range aside.FindAllStringIndex(template, -1) {
		before, ofBefore := holesOf(template[last:m[0]])
		within, ofWithin := holesOf(template[m[0]:m[1]])
		form, names, last = form+before+"(?:"+within+")?", append(append(names, ofBefore...), ofWithin...), m[1]
	}
	after, ofAfter := holesOf(template[last:])
	return form + after, append(names, ofAfter...)
}

func holesOf(template string) (form string, names []string) {
	last := 0
	for _, m := range hole.FindAllStringSubmatchIndex(template, -1) {
		form += regexp.QuoteMeta(template[last:m[0]])
		if last = m[1]; m[4] >= 0 {
			form += "(?:" + regexp.QuoteMeta(template[m[4]:m[5]]) + "|" + regexp.QuoteMeta(template[m[6]:m[7]]) + ")"
			continue
		}
		form, names = form+"(.+?)", append(names, template[m[2]:m[3]])
	}
	return form + regexp.QuoteMeta(template[last:]), names
}

// spoken finds, in a sentence made from a template, what stands in each hole; of what
// was left out, that it is hidden, or where brackets hold it, that it is nought.
func spoken(template, said string) (map[string]string, bool) {
	form, names := formOf(template)
	found := regexp.MustCompile("(?i)^" + form + "$").FindStringSubmatch(said)
	if found == nil {
		return nil, false
	}
	values := map[string]string{}
	for i, name := range names {
		said := found[i+1]
		if within, bracketed := strings.CutPrefix(strings.TrimSuffix(name, "]"), "["); bracketed {
			if name = within; said == "" {
				said = "0"
			}
		} else if said == "" {
			said = "hidden"
		}
		// What is said elsewhere in the sentence is no nought for a clause left out.
		if before, twice := values[name]; !twice || before == "0" || before == "hidden" {
			values[name] = said
		}
	}
	return values, true
}
