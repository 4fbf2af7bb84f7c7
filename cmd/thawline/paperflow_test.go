package main

import (
	"encoding/xml"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// mostBlank is how much of a page of the demonstration may stay blank at its end: the
// highest chart, with its legend, title and the begin of a section, is not cut.
const mostBlank = 0.3

// The parts of a printed page: A4 in points, and the margin at its foot (print.css.tmpl).
const (
	sheetPoints = 841.9
	footPoints  = 14 * 72 / 25.4
	headPoints  = 11 * 72 / 25.4
)

// markParts names what stands in a page by texts too small to be seen, which print to
// where it stands: § and a letter, then numbers. H is a heading, B what may follow one (a
// paragraph, an item, a row, a figure), T the head of a table and R a row, by its table;
// F and E are begin and end of a figure.
const markParts = `(() => {
	const put = (e, text, end) => { if (e) e.setAttribute(end ? 'data-end' : 'data-at', (e.getAttribute(end ? 'data-end' : 'data-at') || '') + '§' + text + '§'); };
	const seen = e => e.checkVisibility();
	const style = document.createElement('style');
	style.textContent = '[data-at]::before{content:attr(data-at)!important;display:inline!important;position:absolute;font:1px/1 sans-serif!important}thead [data-at]::before{position:static}figure{position:relative}[data-end]::after{content:attr(data-end);position:absolute;bottom:0;left:0;font:1px/1 sans-serif}';
	document.head.append(style);
	let n = 0, t = 0;
	const tables = new Map();
	for (const e of document.querySelectorAll('h2, h3, p, li, dt, figure, thead tr, tbody tr')) {
		if (!seen(e) || e.closest('figure') && e.tagName !== 'FIGURE') continue;
		const id = ++n;
		if (/^H/.test(e.tagName)) put(e, 'H' + id);
		else if (e.tagName === 'FIGURE') { put(e, 'F' + id + '§§B' + id); put(e, 'E' + id, true); }
		else if (e.tagName === 'TR' && e.parentElement.tagName === 'THEAD') { tables.set(e.closest('table'), [++t, 0, e.closest('table').tBodies[0].rows.length]); put(e.cells[0], 'T' + t); }
		else if (e.tagName === 'TR') { const at = tables.get(e.closest('table')); if (at) put(e.cells[0], 'R' + at[0] + '.' + ++at[1] + '.' + at[2] + '§§B' + id); }
		else put(e, 'B' + id);
	}
	return n;
})()`

// marked finds those texts.
var marked = regexp.MustCompile(`§([A-Z])(\d+)(?:\.(\d+)\.(\d+))?§`)

// paper is what was printed: of each page its texts, and the lowest of them in points
// from the page's upper edge.
type paper struct {
	texts []string
	ends  []float64
}

// flow marks the page's parts, prints it, and reads what stands on each page.
func (b *tab) flow() *paper {
	b.t.Helper()
	program, err := exec.LookPath("pdftotext")
	if err != nil {
		b.t.Fatalf("%v: make browser installs it (Debian: poppler-utils)", err)
	}
	b.asPrinted()
	eval[float64](b, markParts)
	yes := true
	printed, err := chromedp.Call(b.ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: &yes})
	b.must(err)
	path := filepath.Join(b.t.TempDir(), "page.pdf")
	b.must(os.WriteFile(path, printed.Data, 0o600))
	text, err := exec.Command(program, "-bbox", path, "-").Output()
	b.must(err)
	var told struct {
		Pages []struct {
			Words []struct {
				Bottom float64 `xml:"yMax,attr"`
				Text   string  `xml:",chardata"`
			} `xml:"word"`
		} `xml:"body>doc>page"`
	}
	decoder := xml.NewDecoder(strings.NewReader(string(text)))
	decoder.Strict, decoder.Entity = false, xml.HTMLEntity
	b.must(decoder.Decode(&told))
	out := &paper{}
	for _, one := range told.Pages {
		var all strings.Builder
		end := 0.0
		for _, word := range one.Words {
			if word.Bottom > sheetPoints-footPoints+2 {
				continue // The line in the margin.
			}
			all.WriteString(word.Text + " ")
			end = max(end, word.Bottom)
		}
		out.texts, out.ends = append(out.texts, all.String()), append(out.ends, end)
	}
	return out
}

// blank is how much of each page stays empty at its end, the last one left out.
func (p *paper) blank() (shares []float64) {
	for _, end := range p.ends[:max(len(p.ends)-1, 0)] {
		shares = append(shares, (sheetPoints-footPoints-end)/(sheetPoints-footPoints-headPoints))
	}
	return shares
}

// badlyParted lists headings that stand on another page than what follows them, rows
// by themselves, rows without their head, and figures that are cut.
func (p *paper) badlyParted() (faults []string) {
	first, last := map[string]int{}, map[string]int{}
	var headings, blocks []int
	rows := map[int]map[int][]int{}
	of := map[int]int{}
	heads := map[[2]int]bool{}
	for at, text := range p.texts {
		for _, m := range marked.FindAllStringSubmatch(text, -1) {
			name, n := m[1]+m[2], numbered(m[2])
			if _, seen := first[name]; !seen {
				first[name] = at
			}
			last[name] = at
			switch m[1] {
			case "H":
				headings = append(headings, n)
			case "B":
				blocks = append(blocks, n)
			case "T":
				heads[[2]int{n, at}] = true
			case "R":
				if rows[n] == nil {
					rows[n] = map[int][]int{}
				}
				rows[n][at], of[n] = append(rows[n][at], numbered(m[3])), numbered(m[4])
			}
		}
	}
	slices.Sort(blocks)
	for _, h := range headings {
		next, _ := slices.BinarySearch(blocks, h)
		if next < len(blocks) && first[fmt.Sprintf("B%d", blocks[next])] != first[fmt.Sprintf("H%d", h)] {
			faults = append(faults, fmt.Sprintf("page %d ends with a heading", first[fmt.Sprintf("H%d", h)]+1))
		}
	}
	for _, table := range slices.Sorted(maps.Keys(rows)) {
		for _, at := range slices.Sorted(maps.Keys(rows[table])) {
			if n := len(rows[table][at]); n < min(3, of[table]) {
				faults = append(faults, fmt.Sprintf("page %d: %d of %d rows of a table by themselves", at+1, n, of[table]))
			}
			if !heads[[2]int{table, at}] {
				faults = append(faults, fmt.Sprintf("page %d: rows of a table without its head", at+1))
			}
		}
	}
	for name, at := range first {
		if strings.HasPrefix(name, "F") && last["E"+name[1:]] != at {
			faults = append(faults, fmt.Sprintf("page %d: a figure is cut", at+1))
		}
	}
	return faults
}

func numbered(text string) int {
	n, _ := strconv.Atoi(text)
	return n
}

// TestPaperFlows prints every page of the demonstration's pack.
func TestPaperFlows(t *testing.T) {
	for name, path := range packPages(demoSite(t), demoMonth) {
		printed := open(t, path, 800).flow()
		if all := strings.Join(printed.texts, ""); name == "committee" && (strings.Count(all, "§H") < 60 || strings.Count(all, "§R") < 400 || strings.Count(all, "§F") < 25) {
			t.Errorf("of %s headings, rows and figures are not found: the test proves little", name)
		}
		for _, fault := range printed.badlyParted() {
			t.Errorf("%s: %s", name, fault)
		}
		for at, share := range printed.blank() {
			if share > mostBlank {
				t.Errorf("%s: page %d of %d is blank for %.0f %% at its end", name, at+1, len(printed.ends), 100*share)
			}
		}
	}
}

// TestPaperFlowsNotices prints pages on which each of these is wrong.
func TestPaperFlowsNotices(t *testing.T) {
	const good = `<html lang="en"><title>x</title><style>@page{size:A4;margin:11mm 10mm 14mm}body,p,h3,table,figure{margin:0}h3{break-after:auto!important}tr{height:8mm}</style><body>`
	fill := func(mm int) string { return fmt.Sprintf(`<p style="height:%dmm">x</p>`, mm) }
	table := "<table><thead style='display:%s'><tr><th>x</th></tr></thead><tbody>" + strings.Repeat("<tr><td>1</td></tr>", 8) + "</tbody></table>"
	for wanted, html := range map[string]string{
		"ends with a heading": fill(255) + `<h3 style="height:8mm;break-after:auto">x</h3><p style="height:30mm;break-inside:avoid">x</p>`,
		"by themselves":       fill(246) + fmt.Sprintf(table, "table-header-group"),
		"without its head":    fill(220) + fmt.Sprintf(table, "table-row-group"),
		"a figure is cut":     fill(250) + `<figure style="height:60mm">x</figure>`,
	} {
		faults := open(t, pageOf(t, good+html+"<p>x</p>"), 800).flow().badlyParted()
		if !strings.Contains(strings.Join(faults, "\n"), wanted) {
			t.Errorf("wanted %q, got %q", wanted, faults)
		}
	}
	printed := open(t, pageOf(t, good+fill(150)+`<p style="height:200mm;break-inside:avoid">x</p><p>x</p>`), 800).flow()
	if shares := printed.blank(); len(shares) != 1 || shares[0] < 0.4 {
		t.Errorf("of a page more than half blank it says %v", shares)
	}
}
