package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thawline/internal/invent"
)

// attacks are texts that mean something to a page, a spreadsheet, a style sheet, a
// template, a database or the direction of writing, and words longer than a page is
// wide. Each stands as it is, as text, or not at all.
var attacks = []string{
	`</script><script>alert(1)</script>`,
	`<img src=x onerror=alert(2)>`,
	`" onmouseover="alert(3)" x="`,
	`=cmd|'/C calc'!A0`,
	`</style><style>*{display:none}</style>`,
	`</title></text></svg><svg onload=alert(4)>`,
	`'; DROP TABLE episodes; --`,
	"\u202Eevil\u200F דראוו",
	strings.Repeat("Transfusionskommission", 12),
	`{{.Hospital}}${x}%s{share}`,
	`\22}body{display:none}/*`,
	`<a href="javascript:alert(5)">&lt;b&gt;</a>`,
	`@SUM(1+1)*-2`,
	`<!--`,
}

// hostileHospital invents a small hospital, and puts an attack into every text cell
// of its exports, and into every text that its own files state.
func hostileHospital(t *testing.T) (site string) {
	t.Helper()
	dir := t.TempDir()
	if _, err := invent.Write(dir, 7, invent.Options{Months: 3, Labs: 600}); err != nil {
		t.Fatal(err)
	}
	// A text that stands for a code in a map keeps its place there.
	const product = `<i/onclick=alert(6)>27`
	free := map[string]bool{"Place": true, "Service": true, "AskedBy": true, "MHPRef": true, "LabNo": true}
	next := 0
	as := map[string]string{}
	attack := func(text string) string {
		if text == "" {
			return ""
		}
		if as[text] == "" {
			as[text] = attacks[next%len(attacks)]
			next++
		}
		return as[text]
	}
	files, err := filepath.Glob(filepath.Join(dir, "inbox", "*.csv"))
	if err != nil || len(files) < 20 {
		t.Fatalf("%d exports, %v", len(files), err)
	}
	for _, file := range files {
		content := []byte(readFile(t, file))
		r := csv.NewReader(bytes.NewReader(content))
		if bytes.IndexByte(content, ';') >= 0 && bytes.IndexByte(content, ';') < bytes.IndexByte(content, '\n') {
			r.Comma = ';'
		}
		rows, err := r.ReadAll()
		if err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		var out bytes.Buffer
		w := csv.NewWriter(&out)
		w.Comma = r.Comma
		for n, row := range rows {
			for i := range row {
				switch name := rows[0][i]; {
				case n == 0:
				case free[name]:
					row[i] = attack(name + row[i])
					if row[i] == as[name] {
						row[i] = ""
					}
				case (name == "Prod" || name == "Product") && row[i] == "FP27":
					row[i] = product
				// Codes and values that no map knows.
				case n%11 == 0 && (name == "Reason" || name == "BinWhy" || name == "Detail" || name == "How"):
					row[i] = attacks[n/11%len(attacks)]
				case n%97 == 0 && (name == "Result" || name == "Units" || name == "Test" || name == "Drug" || name == "Item"):
					row[i] = attacks[n/97%len(attacks)]
				}
			}
			if err := w.Write(row); err != nil {
				t.Fatal(err)
			}
		}
		w.Flush()
		name := file
		if strings.Contains(file, "bank_") {
			name = strings.TrimSuffix(file, ".csv") + "<img src=x onerror=alert(7)>\u202E.csv"
		}
		os.Remove(file)
		write(t, name, out.String())
	}
	site = filepath.Join(dir, "site.yaml")
	text := readFile(t, site)
	for _, change := range [][2]string{
		{"hospital: Tarn Bridge General (invented)", fmt.Sprintf("hospital: %q\nconfidentiality: %q", attacks[0]+attacks[8], attacks[4]+attacks[10])},
		{"  FP27: {", fmt.Sprintf("  %q: {", product)},
		{"currency: EUR", fmt.Sprintf("currency: %q\ninterventions:\n  - {date: 2026-09-10, name: %q}\n  - {date: 2026-09-20, name: %q}", attacks[5], attacks[8], attacks[7])},
	} {
		if !strings.Contains(text, change[0]) {
			t.Fatalf("site.yaml has no %q", change[0])
		}
		text = strings.Replace(text, change[0], change[1], 1)
	}
	write(t, site, text)
	policy := filepath.Join(dir, "policy.yaml")
	write(t, policy, readFile(t, policy)+fmt.Sprintf("over_bleeding:\n  value: 1.5\n  source: %q\n  approved: {by: %q, on: 2026-01-01}\n", attacks[1], attacks[8]))
	write(t, filepath.Join(dir, "decisions.yaml"), fmt.Sprintf("decisions:\n  - {date: 2026-08-01, decision: %q, owner: %q, due: 2026-08-02}\n  - {date: 2026-08-02, decision: %q, owner: %q}\n",
		attacks[0], attacks[1], attacks[8], attacks[7]))
	panels := filepath.Join(dir, "panels")
	if err := os.Mkdir(panels, 0o700); err != nil {
		t.Fatal(err)
	}
	var list []string
	for _, one := range attacks {
		list = append(list, "('"+strings.ReplaceAll(one, "'", "''")+"')")
	}
	write(t, filepath.Join(panels, "own.sql"), `-- own: `+attacks[5]+`?
--
-- reads:     episodes
-- points:    word: label; `+attacks[2]+`
--            n: units; `+attacks[0]+`
-- answer:    n: units; `+attacks[1]+`
--            of: units; all
--            most: label; most
-- not known: `+attacks[4]+`
SELECT words.word, CAST(7 AS BIGINT) AS n FROM (VALUES `+strings.Join(list, ", ")+`) AS words (word) ORDER BY words.word
-- answer
SELECT CAST(7 AS BIGINT) AS n, CAST(98 AS BIGINT) AS of, '`+attacks[7]+`' AS most
`)
	var yaml strings.Builder
	fmt.Fprintf(&yaml, "sections:\n  - section: %q\n    intro: %q\n    panels:\n", attacks[0], attacks[8])
	for i, kind := range []string{"rows", "bars", "table"} {
		fmt.Fprintf(&yaml, "      - {figure: own, asks: %q, says: %q, chart: %s, unit: %q, x_title: %q, beside: %q%s}\n", attacks[i], attacks[8]+" Beside {most} stand {n} of {of}", kind, attacks[5], attacks[11], attacks[1],
			map[bool]string{true: "", false: ", x: word, y: [n]"}[kind == "table"])
	}
	write(t, filepath.Join(panels, "panels.yaml"), yaml.String())
	var out, errOut bytes.Buffer
	if code := run(context.Background(), []string{"audit", "--site", site, "--period", demoMonth, "--today", "2026-11-25"}, &out, &errOut); code != exitDone && code != exitIncomplete {
		t.Fatalf("exit %d\n%s", code, errOut.String())
	}
	// What reviewers write, once their cases are known.
	names := toldCases(t, site, demoMonth)
	write(t, filepath.Join(dir, "reviews.csv"), fmt.Sprintf("episode,word,date,note\n%s,%s,2026-11-20,%q\n", names[0].name, names[0].mark, attacks[3]))
	if code := run(context.Background(), []string{"report", "--site", site, "--period", demoMonth, "--today", "2026-11-25"}, &out, &errOut); code != exitDone && code != exitIncomplete {
		t.Fatalf("exit %d\n%s", code, errOut.String())
	}
	return site
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// turnedBeside lists the lines whose words do not run from left to right before and
// after a text that turns the direction of writing.
const turnedBeside = `(() => {
	const turned = [], range = document.createRange(), turns = /[\u202a-\u202e\u2066-\u2069\u200f\u0590-\u08ff]/u;
	const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	for (let node; (node = walk.nextNode());) {
		const block = node.parentElement.closest('p, li, td, th, h1, h2, h3, div, text, footer');
		if (!block || node.parentElement.closest('bdi, script, style, option') || !turns.test(block.textContent)) continue;
		// A cell of a table, or a label of a chart, holds that text alone.
		if (['TD', 'TH', 'text'].includes(block.tagName) && !block.textContent.includes('\u2068')) continue;
		let last = null;
		for (const m of node.data.matchAll(/[A-Za-z0-9]/g)) {
			// What an isolate, or the text itself, turns is its own.
			const before = node.data.slice(0, m.index);
			if (before.lastIndexOf('\u2068') > before.lastIndexOf('\u2069')) { last = null; continue; }
			range.setStart(node, m.index); range.setEnd(node, m.index + 1);
			const r = range.getBoundingClientRect();
			if (!r.width) continue;
			if (last && Math.abs(last.top - r.top) < 2 && r.left < last.left) { turned.push(node.data.slice(Math.max(0, m.index - 20), m.index + 20)); break; }
			last = r;
		}
	}
	return turned.slice(0, 5);
})()`

// TestHostileTextShowsAsText opens the pack of a hospital whose every text is an
// attack: nothing runs, nothing is asked for, nothing is lost from sight, and each
// text that the pack shows stands as it was written.
func TestHostileTextShowsAsText(t *testing.T) {
	if testing.Short() {
		t.Skip("needs a browser")
	}
	site := hostileHospital(t)
	t.Run("pages", func(t *testing.T) { inBrowser(t, "hostile", site, demoMonth) })
	pages := packPages(site, demoMonth)
	t.Run("as text", func(t *testing.T) {
		for name, wanted := range map[string][]string{
			"committee": attacks,
			"cases":     append([]string{attacks[8], `<i/onclick=alert(6)>27`, `<img src=x onerror=alert(7)>`}, attacks[:4]...),
			"index":     {attacks[0] + attacks[8]},
		} {
			b := open(t, pages[name], 1280)
			shown := eval[string](b, `document.body.innerText`)
			for _, one := range wanted {
				if !strings.Contains(shown, one) {
					t.Errorf("%s does not show %q", name, one)
				}
			}
			if n := eval[int](b, `[...document.querySelectorAll('img, iframe, a[href^=javascript], script, [onclick], [onmouseover], [onload]')].length`); n > 1 || n > 0 && name != "cases" {
				t.Errorf("%s holds %d elements that act", name, n)
			}
			for _, turned := range eval[[]string](b, turnedBeside) {
				t.Errorf("%s: a text of the site's turns what stands beside it: %q", name, turned)
			}
			if visible := eval[bool](b, `document.querySelector('main').checkVisibility() && document.querySelectorAll('main table tr').length > 5 || document.title.length > 0 && document.querySelectorAll('table tr').length > 1`); !visible {
				t.Errorf("%s shows no table", name)
			}
			b.asPrinted()
			if over := eval[[]string](b, beyondTheEdge); len(over) > 0 {
				t.Errorf("%s, printed, beyond the edge:\n%s", name, strings.Join(over[:min(8, len(over))], "\n"))
			}
		}
	})
	t.Run("charts", func(t *testing.T) {
		for _, d := range open(t, pages["committee"], 1280).drawings() {
			for _, fault := range d.pale() {
				t.Errorf("%s: %s", d.ID, fault)
			}
		}
	})
}
