package main

import (
	"strings"
	"testing"
)

// cutTables lists what a narrow screen does to tables: one that is wider than its frame
// must scroll there, be reached by keyboard, say in words that it scrolls, and keep its
// first column in sight; one that is not must not say so. A row that is a card names
// every value but its first. No text of the page is cut by a box that does not scroll.
const cutTables = `(() => {
	const faults = [], shown = e => !!e && e.checkVisibility() && parseFloat(getComputedStyle(e).fontSize) > 6;
	const name = e => ((e.closest('article') || e.closest('section') || {}).id || '') + ' ' + e.textContent.trim().slice(0, 40);
	for (const table of document.querySelectorAll('table')) {
		if (!table.checkVisibility()) continue;
		const box = table.closest('.scroll'), row = table.tBodies[0] && table.tBodies[0].rows[0];
		const frame = box || table.parentElement, wide = Math.max(frame.scrollWidth, table.offsetWidth) > frame.clientWidth + 1;
		const hint = box && box.closest('details, .frame') && box.closest('details, .frame').querySelector('.hint');
		if (wide) {
			if (!['auto', 'scroll'].includes(getComputedStyle(frame).overflowX)) faults.push('cut, and does not scroll: ' + name(table));
			else if (frame.tabIndex < 0) faults.push('scrolls, and is not reached by keyboard: ' + name(table));
			if (!table.matches('.units') && !shown(hint)) faults.push('scrolls, and nothing says so: ' + name(table));
			if (row) {
				frame.scrollLeft = 60;
				if (row.cells[0].getBoundingClientRect().left < frame.getBoundingClientRect().left - 1) faults.push('its first column scrolls away: ' + name(table));
				frame.scrollLeft = 0;
			}
		} else if (shown(hint) && frame.scrollWidth <= frame.clientWidth) faults.push('says that it scrolls, and does not: ' + name(table));
		if (row && getComputedStyle(row).display !== 'table-row')
			for (const one of table.tBodies[0].rows) for (const cell of [...one.cells].slice(1))
				if (cell.checkVisibility() && ['none', 'normal', '""'].includes(getComputedStyle(cell, '::before').content) && !cell.querySelector('a')) faults.push('a card does not name ' + cell.textContent.slice(0, 30) + ' in ' + name(table));
	}
	const range = document.createRange(), walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	for (let n = walk.nextNode(); n; n = walk.nextNode()) {
		const e = n.parentElement;
		if (!n.data.trim() || !e.checkVisibility() || e.closest('svg, thead, select, script')) continue;
		range.selectNodeContents(n);
		const r = range.getBoundingClientRect();
		for (let box = e; box !== document.body; box = box.parentElement) {
			const style = getComputedStyle(box), edge = box.getBoundingClientRect();
			if (['auto', 'scroll'].includes(style.overflowX)) break;
			if (['hidden', 'clip'].includes(style.overflowX) && (r.right > edge.right + 1 || r.left < edge.left - 1 || r.bottom > edge.bottom + 1)) faults.push('text is cut: ' + n.data.trim().slice(0, 40));
		}
	}
	return [...new Set(faults)];
})()`

// TestCutTablesAreNoticed feeds the check with tables that are wrong each in one way.
func TestCutTablesAreNoticed(t *testing.T) {
	const wide, small = `<table><tbody><tr><td style="%">first</td><td><div style="width:900px">wide</div></td></tr></tbody></table>`, `<table><tbody><tr><td>1</td></tr></tbody></table>`
	table := func(first string) string { return strings.Replace(wide, "%", first, 1) }
	const sticky = "position:sticky;left:0"
	for wanted, html := range map[string]string{
		"does not scroll":                `<div class="scroll">` + table(sticky) + `</div>`,
		"not reached by keyboard":        `<div class="scroll" style="overflow-x:auto">` + table(sticky) + `</div>`,
		"nothing says so":                `<div class="frame"><p class="hint" style="font-size:0">x</p><div class="scroll" style="overflow-x:auto" tabindex="0">` + table(sticky) + `</div></div>`,
		"its first column scrolls away":  `<div class="frame"><p class="hint">x</p><div class="scroll" style="overflow-x:auto" tabindex="0">` + table("") + `</div></div>`,
		"says that it scrolls, and does": `<div class="frame"><p class="hint">x</p><div class="scroll" style="overflow-x:auto" tabindex="0">` + small + `</div></div>`,
		"a card does not name":           `<table><tbody><tr style="display:flex"><td>1</td><td>2</td></tr></tbody></table>`,
		"text is cut":                    `<div style="width:50px;overflow:hidden;white-space:nowrap">a long text in a narrow box</div>`,
	} {
		faults := eval[[]string](open(t, pageOf(t, `<html lang="en"><title>x</title><main>`+html), 390), cutTables)
		if !strings.Contains(strings.Join(faults, "\n"), wanted) {
			t.Errorf("wanted %q, got %q", wanted, faults)
		}
	}
	right := `<div class="frame"><p class="hint">x</p><div class="scroll" style="overflow-x:auto" tabindex="0">` + table(sticky) + `</div></div>`
	if faults := eval[[]string](open(t, pageOf(t, `<html lang="en"><title>x</title><main>`+right), 390), cutTables); len(faults) > 0 {
		t.Errorf("of a page that is right: %q", faults)
	}
}

// TestLongWordsOfALanguage holds what the style sheet does with words longer than those
// of English against a browser: in the tiles at a page's head, and in the heads of a table
// beside its chart.
func TestLongWordsOfALanguage(t *testing.T) {
	css := readFile(t, "../../internal/pack/pack.css")
	tiles := strings.Repeat(`<div class="said"><dt>Behandlungsepisoden</dt><dd>verborgen</dd><dd class="note">142 aufgetaut, ausgegeben oder verloren; Vertrauensbereich 35 bis 65 %</dd></div>`, 6)
	heads := strings.Repeat(`<th class="n stout">Behandlungsepisoden</th>`, 5)
	page := func(css string) string {
		return pageOf(t, `<html lang="xx"><title>x</title><style>`+css+`</style><main><dl class="strip">`+tiles+`</dl><article class="drawn"><h3>x</h3><div class="pic"><div class="seen">x</div></div><div class="told"><details open><summary>x <span class="hint">x</span></summary><div class="scroll" tabindex="0"><table><thead><tr>`+heads+`</tr></thead><tbody><tr>`+strings.Repeat("<td>1</td>", 5)+`</tr></tbody></table></div></details></div></article>`)
	}
	faults := func(css string, width int64) []string {
		b := open(t, page(css), width)
		return append(eval[[]string](b, cutTables), eval[[]string](b, brokenWords)...)
	}
	for _, width := range widths {
		if found := faults(css, width); len(found) > 0 {
			t.Errorf("%d wide: %q", width, found)
		}
	}
	// Without what it does for them.
	if found := faults(strings.NewReplacer("minmax(0,1fr)", "1fr", "overflow-wrap:anywhere", "x:y").Replace(css), 390); !strings.Contains(strings.Join(found, "\n"), "text is cut") {
		t.Errorf("tiles that are too wide are not noticed: %q", found)
	}
	if found := faults(strings.ReplaceAll(css, "th.stout", "th.none"), 1280); !strings.Contains(strings.Join(found, "\n"), "Behandlungsepisoden") {
		t.Errorf("a head that is too narrow is not noticed: %q", found)
	}
}
