package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/google/go-cmp/cmp"

	"thawline/internal/audit"
	"thawline/internal/store"
)

// told is an episode of the period as the store tells it.
type told struct {
	name, mark, place string
	findings          []string
}

// toldCases reads the period's episodes from the store, in the order of time.
func toldCases(t *testing.T, site, period string) []told {
	t.Helper()
	st, err := store.Open(filepath.Join(filepath.Dir(site), "store"), false)
	if err != nil {
		t.Fatal(err)
	}
	key, err := st.Key()
	st.Close()
	if err != nil {
		t.Fatal(err)
	}
	var all []told
	for _, row := range table(t, site, fmt.Sprintf(`
SELECT episodes.episode_id, episodes.mark, coalesce(nullif(episodes.location, ''), 'not recorded') AS place,
    coalesce((SELECT string_agg(DISTINCT findings.finding, '|' ORDER BY findings.finding) FROM findings WHERE findings.episode_id = episodes.episode_id), '') AS findings
FROM episodes WHERE episodes.month = '%s' ORDER BY episodes.t0, episodes.episode_id`, period)) {
		one := told{name: audit.Pseudonym(key, audit.EpisodeKind, row["episode_id"]), mark: row["mark"], place: row["place"]}
		if row["findings"] != "" {
			one.findings = strings.Split(strings.ReplaceAll(row["findings"], "_", " "), "|")
		}
		all = append(all, one)
	}
	return all
}

// shown lists the cases that a reader sees, in their order.
func (b *tab) shown() []string {
	b.t.Helper()
	return eval[[]string](b, `[...document.querySelectorAll('#cases article')].filter(a => a.checkVisibility()).map(a => a.id.slice(2))`)
}

// names of those cases that keep says yes to.
func names(all []told, keep func(told) bool) []string {
	list := []string{}
	for _, one := range all {
		if keep(one) {
			list = append(list, one.name)
		}
	}
	return list
}

// values are those of the list in focus, the first (all) left out.
func (b *tab) values() []string {
	b.t.Helper()
	return eval[[]string](b, `[...document.activeElement.options].slice(1).map(o => o.value)`)
}

// TestCasesFilterAndSortByKeyboard goes to each list of cases.html by Tab, moves
// in it by arrow keys, and compares what is shown with the store.
func TestCasesFilterAndSortByKeyboard(t *testing.T) {
	site := demoSite(t)
	all := toldCases(t, site, demoMonth)
	b := open(t, packPages(site, demoMonth)["cases"], 1280)
	everything := names(all, func(told) bool { return true })
	if len(everything) < 30 {
		t.Fatalf("%d episodes in the store: too few to tell filters apart", len(everything))
	}
	if diff := cmp.Diff(everything, b.shown()); diff != "" {
		t.Fatalf("at first all are shown by time:\n%s", diff)
	}
	filters := []struct {
		list string
		has  func(told, string) bool
	}{
		{"#by-mark", func(one told, word string) bool { return one.mark == word }},
		{"#by-finding", func(one told, word string) bool { return slices.Contains(one.findings, word) }},
		{"#by-place", func(one told, word string) bool { return one.place == word }},
	}
	words := map[string][]string{}
	for _, f := range filters {
		if !b.tabTo(f.list, 100) {
			t.Fatalf("%s is not reached by Tab", f.list)
		}
		words[f.list] = b.values()
		if len(words[f.list]) < 3 {
			t.Fatalf("%s offers %v", f.list, words[f.list])
		}
		for _, word := range words[f.list] {
			b.press(kb.ArrowDown)
			wanted := names(all, func(one told) bool { return f.has(one, word) })
			if len(wanted) == 0 {
				t.Errorf("%s offers %q, which no case has", f.list, word)
			}
			if diff := cmp.Diff(wanted, b.shown()); diff != "" {
				t.Errorf("%s %q:\n%s", f.list, word, diff)
			}
			if said := eval[string](b, `document.getElementById('told').textContent`); said != fmt.Sprintf("%d of %d episodes", len(wanted), len(all)) {
				t.Errorf("%s %q: the page says %q", f.list, word, said)
			}
		}
		b.press(kb.Home)
		if diff := cmp.Diff(everything, b.shown()); diff != "" {
			t.Fatalf("%s back at all:\n%s", f.list, diff)
		}
	}
	rank := func(list, word string) int {
		if at := slices.Index(words[list], word); at >= 0 {
			return at
		}
		return len(words[list])
	}
	orders := map[string]func(told) int{
		"begin": func(told) int { return 0 },
		"mark":  func(one told) int { return rank("#by-mark", one.mark) },
		"findings": func(one told) int {
			return rank("#by-finding", strings.Join(one.findings[:min(1, len(one.findings))], ""))
		},
		"place": func(one told) int { return rank("#by-place", one.place) },
	}
	if !b.tabTo("#by-order", 3) {
		t.Fatal("the order is not reached by Tab")
	}
	offered := append([]string{"begin"}, b.values()...)
	if len(offered) != len(orders) {
		t.Errorf("orders offered: %v", offered)
	}
	for i, order := range offered {
		if i > 0 {
			b.press(kb.ArrowDown)
		}
		wanted := slices.Clone(all)
		slices.SortStableFunc(wanted, func(x, y told) int { return orders[order](x) - orders[order](y) })
		got := b.shown()
		if diff := cmp.Diff(names(wanted, func(told) bool { return true }), got); diff != "" {
			t.Errorf("by %s:\n%s", order, diff)
		}
		if i > 0 && slices.Equal(got, everything) {
			t.Errorf("by %s the order is that of time: nothing was sorted", order)
		}
	}
	// Filter and order together, and two filters at once.
	if !b.tabTo("#by-mark", 3, chromedp.KeyModifiers(chromedp.ModifierShift)) {
		t.Fatal("no way back to the first list")
	}
	b.press(kb.ArrowDown)
	if !b.tabTo("#by-place", 3) {
		t.Fatal("no way to the list of places")
	}
	b.press(kb.ArrowDown)
	both := names(all, func(one told) bool { return one.mark == words["#by-mark"][0] && one.place == words["#by-place"][0] })
	if diff := cmp.Diff(both, b.shown()); diff != "" {
		t.Errorf("two filters at once:\n%s", diff)
	}
	b.quiet()
}

// TestALinkOpensItsCase follows, by keyboard, a link to a case that the filters hide,
// and goes back.
func TestALinkOpensItsCase(t *testing.T) {
	b := open(t, packPages(demoSite(t), demoMonth)["cases"], 1280)
	if !b.tabTo("#by-mark", 100) {
		t.Fatal("the list of marks is not reached by Tab")
	}
	b.press(kb.ArrowDown)
	hidden := eval[string](b, `(() => { const link = [...document.querySelectorAll('ol a')].find(a => document.getElementById(a.hash.slice(1)).hidden); return link ? link.hash : ''; })()`)
	if hidden == "" {
		t.Fatal("no case to discuss is filtered out: the test proves little")
	}
	if !b.tabTo(fmt.Sprintf("a[href=%q]", hidden), 100, chromedp.KeyModifiers(chromedp.ModifierShift)) {
		t.Fatal("no way back to the cases to discuss")
	}
	b.press(kb.Enter)
	seen := fmt.Sprintf(`(() => { const r = document.getElementById(%q).getBoundingClientRect(), f = document.getElementById('filters').getBoundingClientRect(); return r.height > 0 && r.top >= f.bottom - 1 && r.top < innerHeight; })()`, hidden[1:])
	if !eval[bool](b, seen) {
		t.Error("the link leads to a case that is not seen")
	}
	if chosen := eval[string](b, `document.getElementById('by-mark').value`); chosen != "" {
		t.Errorf("the list of marks says %q and more is shown", chosen)
	}
	if n := len(b.shown()); n < 30 {
		t.Errorf("%d cases are shown", n)
	}
	b.must(chromedp.Do(b.ctx, chromedp.NavigateBack()))
	back := fmt.Sprintf(`new Promise(done => {
		const link = document.querySelector('a[href=%q]'), from = Date.now();
		const look = () => { const r = link.getBoundingClientRect(), yes = r.top >= 0 && r.bottom <= innerHeight; yes || Date.now() - from > 5000 ? done(yes) : setTimeout(look, 50); };
		look();
	})`, hidden)
	if !eval[bool](b, back) {
		t.Error("going back does not lead to the list of cases to discuss")
	}
	b.quiet()
}
