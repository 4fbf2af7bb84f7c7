package main

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// printedPages is how many pages of paper a page takes.
func (b *tab) printedPages() int {
	b.t.Helper()
	yes := true
	printed, err := chromedp.Call(b.ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: &yes, PrintBackground: &yes})
	b.must(err)
	return len(regexp.MustCompile(`/Type\s*/Page\b`).FindAll(printed.Data, -1))
}

// TestPaperIsFilled prints figures whose tables have a row or two, as those of a
// hospital's first month: what holds the first rows of a table together must not
// hold figure to figure, or half of a page stays blank.
func TestPaperIsFilled(t *testing.T) {
	css := readFile(t, "../../internal/pack/pack.css") + "@page{size:A4;margin:11mm 10mm 14mm}article{height:62mm}.before{height:100mm}.after p{height:8mm;margin:0}"
	for rows := range 3 {
		table := "<table><thead><tr><th>x</th></tr></thead><tbody>" + strings.Repeat("<tr><td>1</td></tr>", rows) + "</tbody></table>"
		figure := `<article class="drawn"><h3>x</h3><div class="seen"><p class="says">x</p><figure>x</figure></div><div class="told"><details open><summary>x</summary><div class="scroll">` + table + `</div></details></div><div class="notes"></div></article>`
		html := fmt.Sprintf(`<html lang="en"><title>x</title><style>%s</style><body><div class="before">x</div>%s<div class="after">%s</div>`, css, strings.Repeat(figure, 4), strings.Repeat("<p>x</p>", 15))
		if n := open(t, pageOf(t, html), 800).printedPages(); n != 2 {
			t.Errorf("with %d rows in each table it takes %d pages of paper, wanted 2", rows, n)
		}
	}
}

// TestLongTables holds what the style sheet does with tables of many rows against
// a browser: on a screen they scroll under their heads, on paper every row stands.
func TestLongTables(t *testing.T) {
	css := readFile(t, "../../internal/pack/pack.css")
	table := `<div class="scroll tall" tabindex="0" role="group" aria-label="x"><table><thead><tr><th>x</th></tr></thead><tbody>` + strings.Repeat("<tr><td>1</td></tr>", 120) + "</tbody></table></div>"
	b := open(t, pageOf(t, `<html lang="en"><title>x</title><style>`+css+`</style><main><h1>x</h1><article class="drawn high"><h3>x</h3><div class="seen"></div><div class="told"><details open><summary>x</summary>`+table+`</details></div></article>`), 1280)
	hidden := `(() => { const box = document.querySelector('.tall'); return box.scrollHeight - box.clientHeight; })()`
	if eval[float64](b, hidden) < 500 {
		t.Error("on a screen a table of 120 rows stands open")
	}
	if !eval[bool](b, `(() => { const box = document.querySelector('.tall'); box.scrollTop = 900; return Math.abs(box.querySelector('th').getBoundingClientRect().top - box.getBoundingClientRect().top) < 2; })()`) {
		t.Error("the head of a table scrolls away")
	}
	b.asPrinted()
	if eval[float64](b, hidden) > 1 {
		t.Error("on paper rows of a table of 120 rows are missing")
	}
	// A reader may have closed the table on the screen: it is printed all the same.
	if !eval[bool](b, `(document.querySelector('details').open = false, document.querySelector('td').checkVisibility({contentVisibilityAuto: true}))`) {
		t.Error("a table that was closed on the screen is not printed")
	}
}

// tooSmall lists texts that are printed smaller than 6.5 points, in charts too: a
// drawing is scaled to its width on paper.
const tooSmall = `(() => {
	const small = [];
	const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	for (let n = walk.nextNode(); n; n = walk.nextNode()) {
		const e = n.parentElement, style = getComputedStyle(e);
		if (!n.textContent.trim() || !e.checkVisibility() || ['SCRIPT', 'STYLE', 'TITLE', 'DESC', 'OPTION'].includes(e.tagName.toUpperCase())) continue;
		const svg = e.closest('svg');
		let size = parseFloat(style.fontSize);
		if (svg) size *= svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
		if (size * 0.75 < 6.49) small.push(e.tagName + '.' + e.getAttribute('class') + ' ' + (size * 0.75).toFixed(2) + ' pt: ' + n.textContent.trim().slice(0, 40));
	}
	return small;
})()`

// TestNothingIsPrintedSmall looks at each page of the demonstration's pack as it is
// laid out on A4.
func TestNothingIsPrintedSmall(t *testing.T) {
	for name, path := range packPages(demoSite(t), demoMonth) {
		b := open(t, path, paperWidth)
		b.asPrinted()
		if small := eval[[]string](b, tooSmall); len(small) > 0 {
			t.Errorf("%s: %d texts, among them\n%s", name, len(small), strings.Join(small[:min(8, len(small))], "\n"))
		}
	}
	b := open(t, pageOf(t, `<html lang="en"><title>x</title><body><p style="font-size:6.4pt">x</p><svg viewBox="0 0 100 10" style="width:50px"><text font-size="12">x</text></svg><p style="font-size:6.5pt">x</p>`), paperWidth)
	if small := eval[[]string](b, tooSmall); len(small) != 2 {
		t.Errorf("of two small texts it finds %q", small)
	}
}

// headsTogether lists heads of tables whose words stand less than two pixels from those
// of the next one, on the same line.
const headsTogether = `(() => {
	const close = [], room = 2;
	const box = e => { const r = document.createRange(); r.selectNodeContents(e); return [...r.getClientRects()]; };
	for (const row of document.querySelectorAll('thead tr')) {
		const heads = [...row.cells].map(box);
		for (let i = 0; i + 1 < heads.length; i++) for (const a of heads[i]) for (const b of heads[i + 1])
			if (a.top < b.bottom - 1 && b.top < a.bottom - 1 && b.left - a.right < room) close.push(row.cells[i].textContent + ' | ' + row.cells[i + 1].textContent);
	}
	return [...new Set(close)];
})()`

func TestHeadsStandApart(t *testing.T) {
	for name, path := range packPages(demoSite(t), demoMonth) {
		b := open(t, path, paperWidth)
		b.asPrinted()
		if close := eval[[]string](b, headsTogether); len(close) > 0 {
			t.Errorf("%s: %q", name, close)
		}
	}
	b := open(t, pageOf(t, `<html lang="en"><title>x</title><table cellspacing="0"><thead><tr><th style="padding:0">One</th><th style="padding:0">two</th><th style="padding:0 9px">three</th></tr></thead></table>`), paperWidth)
	if close := eval[[]string](b, headsTogether); len(close) != 1 {
		t.Errorf("of two heads that touch it finds %q", close)
	}
}

// TestAPhoneShowsTheLastMonth: what is wider than a phone starts scrolled to its end
// where that is the month that the pack speaks of, and says that it scrolls.
func TestAPhoneShowsTheLastMonth(t *testing.T) {
	b := open(t, packPages(demoSite(t), demoMonth)["committee"], widths[len(widths)-1])
	const hiddenEnds = `[...document.querySelectorAll('figure')].filter(f => {
		const scroll = f.querySelector('.scroll'), box = scroll.getBoundingClientRect(), svg = scroll.querySelector('svg').getBoundingClientRect();
		return svg.width > box.width + 1 && (!f.querySelector('.swipe').checkVisibility() || scroll.matches('.late') && Math.abs(svg.right - box.right) > 1);
	}).map(f => f.closest('article').id)`
	if ids := eval[[]string](b, hiddenEnds); len(ids) > 0 {
		t.Errorf("the end of the chart is out of sight, or nothing says that it scrolls: %q", ids)
	}
	if n := eval[float64](b, `document.querySelectorAll('.late').length`); n < 9 {
		t.Errorf("%v charts by month: the test proves little", n)
	}
	if eval[float64](b, `(() => { document.querySelector('.late').style.direction = 'ltr'; return `+hiddenEnds+`.length; })()`) != 1 {
		t.Error("a chart that shows its begin is not found")
	}
}

// TestWhatExplainsAChartStands scrolls every chart on a phone to both of its ends: the
// legend, the names of the axes and the scale stay in sight, and each number of the
// scale stands beside its line.
func TestWhatExplainsAChartStands(t *testing.T) {
	b := open(t, packPages(demoSite(t), demoMonth)["committee"], widths[len(widths)-1])
	const gone = `[...document.querySelectorAll('figure')].flatMap(f => {
		const scroll = f.querySelector('.scroll'), scale = f.querySelector('.scale'), id = f.closest('article').id, faults = [];
		const number = svg => [...svg.querySelectorAll('text')].filter(e => e.closest('svg') === svg);
		for (const to of [-9999, 9999]) {
			scroll.scrollLeft = to;
			for (const e of f.querySelectorAll('.legend li, .axis')) {
				const r = e.getBoundingClientRect();
				if (!e.checkVisibility() || r.left < 0 || r.right > innerWidth) faults.push(id + ': ' + e.textContent);
			}
			if (!scale) continue;
			const r = scale.getBoundingClientRect(), box = scroll.getBoundingClientRect();
			if (!scale.checkVisibility() || Math.abs(r.left - box.left) > 1 || r.width > 60) faults.push(id + ': the scale stands at ' + r.left);
			const lines = number(f.querySelector('svg[role=img]')).map(e => [e.textContent, e.getBoundingClientRect().top]);
			for (const e of number(scale)) {
				const top = e.getBoundingClientRect().top;
				if (!lines.some(([text, at]) => text === e.textContent && Math.abs(at - top) < 1.5)) faults.push(id + ': ' + e.textContent + ' on the scale');
			}
		}
		return faults;
	})`
	if faults := eval[[]string](b, gone); len(faults) > 0 {
		t.Errorf("out of sight or place:\n%s", strings.Join(faults[:min(8, len(faults))], "\n"))
	}
	if n := eval[float64](b, `document.querySelectorAll('figure .legend').length + 1000 * document.querySelectorAll('figure .scale').length`); n < 15015 {
		t.Errorf("%v legends and thousands of scales: the test proves little", n)
	}
	for what, spoil := range map[string]string{
		"a legend in one line":   `document.querySelector('.legend').style.cssText = 'flex-wrap:nowrap;white-space:nowrap;width:900px'`,
		"a scale that is lower":  `document.querySelector('.scale').style.top = '4px'`,
		"a scale that scrolls":   `(() => { const s = document.querySelector('.scale'); s.style.position = 'static'; s.previousElementSibling.append(s); })()`,
		"an axis without a name": `document.querySelector('.axis').style.display = 'none'`,
	} {
		b := open(t, packPages(demoSite(t), demoMonth)["committee"], widths[len(widths)-1])
		if eval[float64](b, `(() => { `+spoil+`; return `+gone+`.length; })()`) == 0 {
			t.Errorf("%s is not noticed", what)
		}
	}
}
