package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// axePath is the accessibility rules of axe-core, pinned in testdata/browser and
// fetched by make browser. They enter the page by the browser's protocol.
const axePath = "../../testdata/browser/node_modules/axe-core/axe.min.js"

// axeFault is what axe-core says of one rule.
type axeFault struct {
	ID     string   `json:"id"`
	Help   string   `json:"help"`
	Places []string `json:"places"`
}

// axe runs axe-core's rules of WCAG 2.2 A and AA, and its best practice, over the
// page: what is wrong, and what it could not decide. Text within drawings is left
// out, since axe cannot find its background: see contrast_test.go.
func (b *tab) axe() (wrong, undecided []axeFault) {
	b.t.Helper()
	rules, err := os.ReadFile(axePath)
	if err != nil {
		b.t.Fatalf("%v: make browser fetches the accessibility rules", err)
	}
	eval[any](b, string(rules)+"; true")
	var found struct {
		Violations, Incomplete []axeFault
		Passes                 int
	}
	text := eval[string](b, `(async () => {
		const list = all => all.map(one => ({id: one.id, help: one.help, places: one.nodes.map(n => n.target.join(' ') + ' ' + n.html.slice(0, 120))}));
		const r = await axe.run({exclude: ['svg[role=img] text']}, {resultTypes: ['violations', 'incomplete']});
		return JSON.stringify({violations: list(r.violations), incomplete: list(r.incomplete), passes: r.passes.length});
	})()`)
	b.must(json.Unmarshal([]byte(text), &found))
	if found.Passes < 10 {
		b.t.Fatalf("axe passed %d rules: it has not looked at the page", found.Passes)
	}
	return found.Violations, found.Incomplete
}

// accessible fails the test where axe-core finds a fault, or cannot decide.
// Colours are the same at every width: on a narrow page, where text lies behind
// the edge of a box that scrolls, their contrast may stay undecided.
func (b *tab) accessible(width int64) {
	b.t.Helper()
	if width == widths[0] {
		// Nor can it see what lies behind the edge of a long table.
		eval[any](b, `document.querySelectorAll('.tall').forEach(box => { box.style.maxHeight = 'none'; }), true`)
	}
	wrong, undecided := b.axe()
	for _, one := range wrong {
		b.t.Errorf("axe: %s (%s) at %d places:\n%s", one.ID, one.Help, len(one.Places), strings.Join(one.Places[:min(5, len(one.Places))], "\n"))
	}
	for _, one := range undecided {
		if one.ID != "color-contrast" || width == widths[0] {
			b.t.Errorf("axe cannot decide: %s (%s) at %d places:\n%s", one.ID, one.Help, len(one.Places), strings.Join(one.Places[:min(5, len(one.Places))], "\n"))
		}
	}
}

// acting are the marks of a page that does or loads something. Text in which such a
// thing stands is escaped, and so begins no tag.
var acting = map[string]*regexp.Regexp{
	"script":           regexp.MustCompile(`(?i)<script|<[^>]*=\s*["']?\s*javascript:|<[^>]*\son[a-z]+\s*=`),
	"another host":     regexp.MustCompile(`(?i)<[^>]*(src|href)\s*=\s*["']?(https?:)?//`),
	"an outside style": regexp.MustCompile(`(?i)@import|url\(\s*["']?https?:`),
	"foreign markup":   regexp.MustCompile(`(?i)<(foreignObject|iframe|object|embed)`),
}

// unscripted fails the test where a page that may hold no script holds one, or
// anything else that acts or loads.
func unscripted(t *testing.T, html string) {
	t.Helper()
	for what, pattern := range acting {
		if found := pattern.FindString(html); found != "" {
			t.Errorf("the page holds %s: %q", what, found)
		}
	}
	if !strings.Contains(html, `http-equiv="Content-Security-Policy" content="default-src 'none'; style-src`) {
		t.Error("the page states no content security policy")
	}
}

// packPages are the pages of one store that a person opens.
func packPages(site, period string) map[string]string {
	packs := filepath.Join(filepath.Dir(site), "store", "packs")
	return map[string]string{
		"committee": filepath.Join(packs, period, "committee.html"),
		"cases":     filepath.Join(packs, period, "cases.html"),
		"index":     filepath.Join(packs, "index.html"),
	}
}

// paperWidth is what A4 leaves between the margins of pack.css, at 96 pixels an inch.
const paperWidth = 718

// widths are a desk, A4 at 96 pixels an inch, and a phone.
var widths = []int64{1280, 794, 390}

// inBrowser opens each page of a store's pack at each width and holds it against
// what every page promises.
func inBrowser(t *testing.T, label, site, period string) {
	for name, path := range packPages(site, period) {
		for _, width := range widths {
			t.Run(fmt.Sprintf("%s %s %d", label, name, width), func(t *testing.T) {
				t.Parallel()
				b := open(t, path, width)
				b.keepShot(fmt.Sprintf("%s-%s-%d", label, name, width))
				if over := eval[[]string](b, beyondTheEdge); len(over) > 0 {
					t.Errorf("beyond the page's edge:\n%s", strings.Join(over[:min(8, len(over))], "\n"))
				}
				for _, word := range eval[[]string](b, brokenWords) {
					t.Errorf("a word is broken: %s", word)
				}
				if cut := eval[[]string](b, cutTables); len(cut) > 0 {
					t.Errorf("%d tables and texts, among them:\n%s", len(cut), strings.Join(cut[:min(8, len(cut))], "\n"))
				}
				if width != 794 { // Paper has no screen reader.
					b.accessible(width)
				} else if name == "committee" {
					b.asPrinted()
					b.must(chromedp.Do(b.ctx, chromedp.EmulateViewport(paperWidth, 900)))
					if over := eval[[]string](b, beyondTheEdge); len(over) > 0 {
						t.Errorf("printed, beyond the page's edge:\n%s", strings.Join(over[:min(8, len(over))], "\n"))
					}
					for _, word := range eval[[]string](b, brokenWords) {
						t.Errorf("printed, a word is broken: %s", word)
					}
				}
				b.quiet()
			})
		}
		t.Run(label+" "+name+" holds nothing that acts", func(t *testing.T) {
			html := readFile(t, path)
			if parted := regexp.MustCompile(`.{0,30}[0-9] %.{0,10}`).FindString(html); parted != "" {
				t.Errorf("a number may be parted from its sign at the end of a line: %q", parted)
			}
			if name != "cases" {
				unscripted(t, html)
			} else if n := strings.Count(html, "<script"); n != 1 {
				t.Errorf("%d scripts, wanted our own one", n)
			}
		})
	}
	t.Run(label+" tables by keyboard", func(t *testing.T) {
		t.Parallel()
		b := open(t, packPages(site, period)["committee"], 1280)
		for _, fault := range tablesByKeyboard(b) {
			t.Error(fault)
		}
		b.quiet()
	})
}

// beyondTheEdge lists what stands outside the page's width, but for what lies in
// a box that scrolls by itself.
const beyondTheEdge = `(() => {
	const edge = document.documentElement.clientWidth, over = [];
	for (const e of document.querySelectorAll('body *')) {
		if (e.closest('svg') && e.tagName !== 'svg') continue;
		const r = e.getBoundingClientRect();
		if (r.width === 0 || r.height === 0) continue;
		let box = e.parentElement, scrolls = false;
		for (; box && box !== document.body; box = box.parentElement)
			if (['auto', 'scroll'].includes(getComputedStyle(box).overflowX)) { scrolls = true; break; }
		if (!scrolls && (r.right > edge + 1 || r.left < -1)) over.push(e.tagName + '.' + e.getAttribute('class') + ' ' + Math.round(r.left) + ' to ' + Math.round(r.right) + ' of ' + edge + ': ' + e.textContent.slice(0, 60));
	}
	if (document.documentElement.scrollWidth > edge + 1) over.push('the page scrolls sideways: ' + document.documentElement.scrollWidth + ' of ' + edge);
	return over;
})()`

// brokenWords lists the words of tables, up to 24 letters long, that stand on two
// lines, but for those of cells in which any text of the site's may stand.
const brokenWords = `(() => {
	const broken = new Set(), range = document.createRange();
	for (const cell of document.querySelectorAll('th:not(.long), td:not(.long)')) {
		const walk = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
		for (let node; (node = walk.nextNode());)
			for (const word of node.data.matchAll(/[\p{L}\p{N}_.]{2,24}/gu)) {
				range.setStart(node, word.index);
				range.setEnd(node, word.index + word[0].length);
				const tops = [...range.getClientRects()].map(r => r.top);
				if (tops.length > 1 && Math.max(...tops) - Math.min(...tops) > 3) broken.add(word[0] + ' in ' + cell.textContent.slice(0, 40));
			}
	}
	return [...broken].slice(0, 8);
})()`

// tablesByKeyboard goes through the page by Tab alone and opens and closes the
// table under each chart by Enter, as a person without a mouse would.
func tablesByKeyboard(b *tab) (faults []string) {
	const panels = `[...document.querySelectorAll('article')].filter(a => a.querySelector('figure svg'))`
	wanted := eval[[]string](b, panels+`.map(a => a.id)`)
	if len(wanted) == 0 {
		return []string{"the page has no chart"}
	}
	reached := map[string]bool{}
	first := ""
	for range 1000 {
		b.press(kb.Tab)
		at := eval[map[string]string](b, `(() => {
			const e = document.activeElement;
			if (e === document.body) return {tag: 'BODY'};
			const box = e.closest('article'), seen = getComputedStyle(e);
			return {tag: e.tagName, id: box ? box.id : '', outline: seen.outlineStyle, place: String([...document.querySelectorAll('*')].indexOf(e))};
		})()`)
		if at["tag"] == "BODY" || at["place"] == first {
			break
		}
		if first == "" {
			first = at["place"]
		}
		if at["outline"] == "none" {
			faults = append(faults, fmt.Sprintf("%s in %s is in focus and nothing shows it", at["tag"], at["id"]))
		}
		if at["tag"] != "SUMMARY" {
			continue
		}
		shows := `(() => { const t = document.activeElement.parentElement.querySelector('table'); return !!t && t.checkVisibility() && t.rows.length > 1; })()`
		open := eval[bool](b, shows)
		b.press(kb.Enter)
		shut := eval[bool](b, shows)
		b.press(kb.Enter)
		if !open || shut || !eval[bool](b, shows) {
			faults = append(faults, fmt.Sprintf("the table of %s does not close and open by Enter", at["id"]))
		}
		reached[at["id"]] = true
	}
	for _, id := range wanted {
		if !reached[id] {
			faults = append(faults, fmt.Sprintf("the table of %s is not reached by Tab", id))
		}
	}
	return faults
}

func TestDemoInBrowser(t *testing.T) {
	inBrowser(t, "demo", demoSite(t), demoMonth)
}

// TestBrowserChecksCanFail feeds each check of a page with a page that is wrong.
func TestBrowserChecksCanFail(t *testing.T) {
	const good = `<html lang="en"><title>x</title><main><h1>x</h1>`
	t.Run("console and network", func(t *testing.T) {
		for what, html := range map[string]string{
			"a picture from elsewhere": good + `<img alt="x" src="http://pack.invalid/x.png">`,
			"a refused script":         `<html lang="en"><head><meta http-equiv="Content-Security-Policy" content="default-src 'none'"></head><script>1</script>`,
			"a handler":                good + `<img alt="x" src="data:," onerror="console.log(1)">`,
			"a fault":                  good + `<script>null.x</script>`,
		} {
			b := open(t, pageOf(t, html), 800)
			if len(b.said)+len(b.asked) == 0 {
				t.Errorf("%s is not noticed", what)
			}
		}
	})
	t.Run("axe", func(t *testing.T) {
		b := open(t, pageOf(t, `<html><title>x</title><main><h1>x</h1><h4>y</h4><p style="color:#aaa">pale</p><img src="data:,">`), 800)
		wrong, _ := b.axe()
		var ids []string
		for _, one := range wrong {
			ids = append(ids, one.ID)
		}
		for _, wanted := range []string{"html-has-lang", "image-alt", "color-contrast", "heading-order"} {
			if !slices.Contains(ids, wanted) {
				t.Errorf("%s is not noticed, only %v", wanted, ids)
			}
		}
	})
	t.Run("turned words", func(t *testing.T) {
		for html, wanted := range map[string]int{"<p>before \u202eevil and after": 1, "<p>before \u2068\u202eevil\u2069 and after": 0, "<p>before <bdi>\u202eevil</bdi> and after": 0} {
			if found := eval[[]string](open(t, pageOf(t, good+html), 800), turnedBeside); len(found) != wanted {
				t.Errorf("%q: %q, wanted %d", html, found, wanted)
			}
		}
	})
	t.Run("broken words", func(t *testing.T) {
		if len(eval[[]string](open(t, pageOf(t, good+`<table style="width:60px;table-layout:fixed;overflow-wrap:anywhere"><tr><td>undetermined`), 800), brokenWords)) == 0 {
			t.Error("a broken word is not noticed")
		}
	})
	t.Run("edge", func(t *testing.T) {
		b := open(t, pageOf(t, good+`<p style="width:1000px">wide</p>`), 390)
		if len(eval[[]string](b, beyondTheEdge)) == 0 {
			t.Error("a text wider than the page is not noticed")
		}
	})
	t.Run("keyboard", func(t *testing.T) {
		const chart = `<figure><svg></svg></figure>`
		for what, html := range map[string]string{
			"a table out of reach":   good + `<article id="a">` + chart + `<details open><summary tabindex="-1">x</summary><table><tr><td>1<tr><td>2</table></details></article>`,
			"a table without rows":   good + `<article id="a">` + chart + `<details open><summary>x</summary><table></table></details></article>`,
			"a focus that is hidden": good + `<style>:focus{outline:none}</style><article id="a">` + chart + `<details open><summary>x</summary><table><tr><td>1<tr><td>2</table></details></article>`,
		} {
			if len(tablesByKeyboard(open(t, pageOf(t, html), 800))) == 0 {
				t.Errorf("%s is not noticed", what)
			}
		}
	})
	t.Run("script", func(t *testing.T) {
		for bad, what := range map[string]string{`<script>`: "script", `<p onclick="x">`: "script", `<a href="javascript:x">`: "script", `<a href="//x">`: "another host",
			`<style>@import "x"`: "an outside style", `<iframe>`: "foreign markup"} {
			if !acting[what].MatchString(bad) {
				t.Errorf("%s is not noticed", bad)
			}
		}
	})
}
