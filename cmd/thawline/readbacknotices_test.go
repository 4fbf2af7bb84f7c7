package main

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// altered writes a text with one number changed, for each number in it.
func altered(text string) (all []string) {
	for _, at := range regexp.MustCompile(`[0-9]+`).FindAllStringIndex(text, -1) {
		last := text[at[1]-1]
		other := byte('1')
		if last == '1' {
			other = '2'
		}
		all = append(all, text[:at[1]-1]+string(other)+text[at[1]:])
	}
	return all
}

// TestReadBackNotices changes one number of the page at a time, in the sentences,
// tiles, lines and tables, and moves each shape of the drawings: each must be seen.
func TestReadBackNotices(t *testing.T) {
	d := readRows(t, demoSite(t))
	p, panels, want := readPack(t, committee(t, demoSite(t))), panelsByID(t), d.recomputed()
	if wrong := d.check(p, panels); len(wrong) > 0 {
		t.Fatalf("the page as it is differs already: %s", wrong[0])
	}
	tried := 0
	must := func(noticed bool, format string, a ...any) {
		t.Helper()
		if tried++; !noticed {
			t.Errorf("nobody noticed "+format, a...)
		}
	}
	for i, sentence := range p.sentences {
		for _, other := range altered(sentence) {
			p.sentences[i] = other
			must(len(d.checkAnswer(p, panels)) > 0, "the sentence %q", other)
		}
		p.sentences[i] = sentence
	}
	for label, tile := range p.tiles {
		for i := range tile {
			for _, other := range altered(tile[i]) {
				changed := tile
				changed[i] = other
				p.tiles[label] = changed
				must(len(d.checkAnswer(p, panels)) > 0, "the tile %q: %q", label, other)
			}
		}
		p.tiles[label] = tile
	}
	note := p.note
	for _, other := range altered(note) {
		p.note = other
		must(len(d.checkAnswer(p, panels)) > 0, "the note under the tiles %q", other)
	}
	p.note = note
	for title, rows := range p.tables {
		if title == "The sources read" {
			rows = rows[:5] // There are two hundred.
		}
		for _, row := range rows {
			for c, said := range row {
				for _, other := range altered(said) {
					row[c] = other
					must(len(d.checkTables(p)) > 0, "%s: %q for %q", title, other, said)
				}
				row[c] = said
			}
		}
	}
	for _, id := range p.order {
		a, panel := p.articles[id], panels[id]
		w := d.withLines(panel, a, want[id])
		w.rows = d.inOrder(panel, a, w)
		says := a.says
		for _, other := range altered(says) {
			a.says = other
			must(len(d.checkWords(id, a, panel, w)) > 0, "%s: the sentence %q", id, other)
		}
		a.says = says
		for fact, said := range a.facts {
			for _, other := range altered(said) {
				a.facts[fact] = other
				must(len(d.checkWords(id, a, panel, w)) > 0, "%s: %s %q", id, fact, other)
			}
			a.facts[fact] = said
		}
		for i, note := range a.notes {
			for _, other := range altered(note) {
				a.notes[i] = other
				must(len(d.checkWords(id, a, panel, w)) > 0, "%s: the note %q", id, other)
			}
			a.notes[i] = note
		}
		for r, row := range a.rows {
			for c, said := range row {
				others := altered(said)
				if said == "hidden" {
					others = append(others, "3")
				}
				for _, other := range others {
					row[c] = other
					must(len(d.checkTable(id, a, w)) > 0, "%s: row %d, %s %q for %q", id, r+1, a.heads[c], other, said)
				}
				row[c] = said
			}
		}
		rows := a.rows
		if len(rows) > 0 {
			a.rows = rows[1:]
			must(len(d.checkTable(id, a, w)) > 0, "%s: a row less", id)
			a.rows = rows
		}
		if a.svg == nil {
			continue
		}
		for _, label := range find(a.svg, "text", "") {
			if content := label.FirstChild; isLabel(label) {
				said := content.Data
				content.Data += "1"
				must(len(checkDrawing(id, a, panel, w)) > 0, "%s: a label altered: %q", id, said)
				content.Data = said
			}
		}
		for _, shape := range find(a.svg, "path", "") {
			data := attr(shape, "ecmeta_ssr_type") == "chart" && attr(shape, "ecmeta_silent") == ""
			line := attr(shape, "fill") == "none" && attr(shape, "stroke-linejoin") == "bevel" && attr(shape, "ecmeta_ssr_type") == "" && attr(shape, "d") != ""
			if !data && !line {
				continue
			}
			whole := shape.Attr
			if line {
				shape.Attr = lowered(whole)
				must(len(checkDrawing(id, a, panel, w)) > 0, "%s: a line lowered: %v", id, whole)
				shape.Attr = whole
				continue
			}
			shape.Attr = moved(whole)
			must(len(checkDrawing(id, a, panel, w)) > 0, "%s: a shape moved: %v", id, shape.Attr)
			shape.Attr = []html.Attribute{}
			must(len(checkDrawing(id, a, panel, w)) > 0, "%s: a shape less: %v", id, whole)
			shape.Attr = whole
		}
	}
	t.Logf("%d changes", tried)
}

// lowered puts a line three units lower.
func lowered(of []html.Attribute) (all []html.Attribute) {
	for _, a := range of {
		if a.Key == "d" {
			a.Val = vertexForm.ReplaceAllStringFunc(a.Val, func(v string) string {
				m := vertexForm.FindStringSubmatch(v)
				return fmt.Sprintf("%s%s %.1f", m[1], m[2], float(m[3])+3)
			})
		}
		all = append(all, a)
	}
	return all
}

// moved puts a shape elsewhere, or gives it another length.
func moved(of []html.Attribute) (all []html.Attribute) {
	place := strings.Contains(fmt.Sprint(of), "matrix(")
	for _, a := range of {
		switch {
		case place && a.Key == "transform":
			m := regexp.MustCompile(`^(matrix\([^,]+,0,0,[^,]+,)([-0-9.]+),([-0-9.]+)\)$`).FindStringSubmatch(a.Val)
			a.Val = fmt.Sprintf("%s%f,%f)", m[1], float(m[2])+3, float(m[3])+3)
		case !place && a.Key == "d" && boxForm.MatchString(a.Val):
			m := boxForm.FindStringSubmatchIndex(a.Val)
			a.Val = a.Val[:m[2]] + fmt.Sprint(float(a.Val[m[2]:m[3]])+3) + a.Val[m[3]:]
		case !place && a.Key == "d" && barForm.MatchString(a.Val):
			m := barForm.FindStringSubmatch(a.Val)
			a.Val = fmt.Sprintf("M%s %sl%f 0l0 %fl", m[1], m[2], float(m[3])+3, float(m[4])-3)
		}
		all = append(all, a)
	}
	return all
}
