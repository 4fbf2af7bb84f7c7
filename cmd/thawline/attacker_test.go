package main

import (
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thawline/internal/figure"
	"thawline/internal/invent"
)

// pageNumber is one number of a page: a count that it shows, one that it hides, or (free)
// one that it does not tell; of those some are guarded as if they stood there.
type pageNumber struct {
	value                 int64
	hidden, free, guarded bool
}

// reading is what a reader of one page has before them: its numbers, and how they add up.
type reading struct {
	page   *packPage
	panels map[string]figure.Panel
	// months are those of the charts, the last is the period's.
	months  []string
	numbers map[string]pageNumber
	sums    []equality
}

// equality says that what is added and taken away comes to nothing.
type equality struct {
	line string
	of   map[string]int64
}

// counted reads a count; hidden where it is a word in the place of one.
func counted(text string) (n pageNumber, ok bool) {
	digits := strings.ReplaceAll(text, ",", "")
	value, err := strconv.ParseInt(digits, 10, 64)
	if err == nil {
		return pageNumber{value: value}, true
	}
	word := strings.ToLower(text)
	return pageNumber{hidden: true}, word == "hidden" || word == "a hidden number" || word == "some"
}

var termForm = regexp.MustCompile(`^([a-z_]+)(?:\.([^\[\]]+?)(?:\[([^\]]+)\])?|:([a-z_0-9]+))$`)

// term adds what one term of a line stands for.
func (k *reading) term(text, month string, sign int64, of map[string]int64) (ok bool) {
	add := func(name string, n pageNumber) { k.numbers[name] = n; of[name] += sign }
	if free, found := strings.CutPrefix(text, "?"); found {
		name, guarded := strings.CutPrefix(free, "!")
		add("?"+name+" "+month, pageNumber{free: true, guarded: guarded})
		return true
	}
	m := termForm.FindStringSubmatch(text)
	if m == nil {
		panic("no term: " + text)
	}
	a := k.page.articles[m[1]]
	if a == nil {
		return false
	}
	base := baselineOf(a)
	if hole := m[4]; strings.HasPrefix(hole, "baseline_") {
		n, isCount := counted(base[hole])
		if isCount {
			add(m[1]+":"+hole, n)
		}
		return isCount
	}
	if hole := m[4]; hole != "" {
		said, spoke := spoken(k.panels[m[1]].Says, a.says)
		if !spoke {
			return false
		}
		n, isCount := counted(said[hole])
		if isCount {
			add(m[1]+":"+hole, n)
		}
		return isCount
	}
	column := a.column(strings.ReplaceAll(m[2], "{period}", k.months[len(k.months)-1]))
	if column < 0 {
		return false
	}
	last := len(a.rows) - 1
	for i, row := range a.rows {
		// What names a row stands before its numbers.
		labels := slices.IndexFunc(row[1:], func(text string) bool { _, isCount := counted(text); return isCount }) + 1
		there := false
		switch m[3] {
		case "":
			there = row[0] == month
		case "*":
			there = true
		case "baseline":
			if !slices.ContainsFunc(a.rows, func(row []string) bool { return row[0] == base["first"] }) {
				return false // It reaches back to months that are not drawn.
			}
			from := slices.IndexFunc(a.rows, func(row []string) bool { return row[0] == base["first"] })
			to := slices.IndexFunc(a.rows, func(row []string) bool { return row[0] == base["last"] })
			there = i >= from && i <= to
		case "year":
			there = i > last-12
		case "four":
			there = i > last-4
		default:
			there = slices.ContainsFunc(row[:labels], func(text string) bool {
				label, _, _ := strings.Cut(text, " (the site")
				return label == m[3]
			})
		}
		if !there {
			continue
		}
		n, isCount := counted(row[column])
		if !isCount {
			return false
		}
		add(fmt.Sprintf("%s.%s %q", m[1], m[2], row[:labels]), n)
		ok = true
	}
	return ok
}

var baselineForm = regexp.MustCompile(`mean of (\w+ \d+) to (\w+ \d+) \(the first \d+ full months with data, ([0-9,]+) of ([0-9,]+)\)`)

// baselineOf reads what makes the centre line of a control chart of counts of episodes,
// from the note under it; of all its months, those that are hidden among them.
func baselineOf(a *article) map[string]string {
	for _, note := range a.notes {
		if m := baselineForm.FindStringSubmatch(note); m != nil {
			return map[string]string{"first": m[1], "last": m[2], "baseline_n": m[3], "baseline_of": m[4]}
		}
	}
	return nil
}

// learn reads a page by the lines of identities.txt.
func learn(t *testing.T, page *packPage) *reading {
	t.Helper()
	k := &reading{page: page, panels: panelsByID(t), numbers: map[string]pageNumber{}}
	for _, row := range k.page.articles["marks_by_month"].rows {
		k.months = append(k.months, row[0])
	}
	lines := strings.Split(readFile(t, filepath.Join("testdata", "identities.txt")), "\n")
	for _, line := range lines {
		scope, sum, found := strings.Cut(line, ": ")
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		left, right, isSum := strings.Cut(sum, " = ")
		if !found || !isSum || scope != "month" && scope != "now" {
			t.Fatalf("testdata/identities.txt: %q is no line", line)
		}
		months := k.months
		if scope == "now" {
			months = k.months[len(k.months)-1:]
		}
		for _, month := range months {
			of, there := map[string]int64{}, true
			for sign, side := range map[int64]string{1: left, -1: right} {
				for _, term := range strings.Split(side, " + ") {
					there = there && k.term(term, month, sign, of)
				}
			}
			if there {
				k.sums = append(k.sums, equality{month + ": " + sum, of})
			}
		}
	}
	return k
}

// system are the sums of a page in its unknown numbers, each at least so many.
type system struct {
	names []string
	at    map[string]int
	least []float64
	rows  [][]float64 // the last is the sum
	// plain are those rows in which no number but nought is shown: they hold on any page.
	plain [][]float64
}

// systems parts the sums of a page into those that have to do with each other.
func (k *reading) systems() []*system {
	of := map[string]*system{}
	var all []*system
	for _, sum := range k.sums {
		into := &system{at: map[string]int{}}
		for _, name := range slices.Sorted(maps.Keys(sum.of)) {
			if n := k.numbers[name]; n.hidden || n.free {
				if other := of[name]; other == nil {
					into.place(name, n)
					of[name] = into
				} else if other != into {
					// The smaller goes into the larger.
					if len(other.names) > len(into.names) {
						other, into = into, other
					}
					for _, one := range other.names {
						into.place(one, k.numbers[one])
						of[one] = into
					}
				}
			}
		}
		if len(into.names) > 0 && !slices.Contains(all, into) {
			all = append(all, into)
		}
	}
	all = slices.DeleteFunc(all, func(s *system) bool { return of[s.names[0]] != s })
	for _, sum := range k.sums {
		var into *system
		total, plain := int64(0), true
		for name, x := range sum.of {
			if n := k.numbers[name]; n.hidden || n.free {
				into = of[name]
			} else {
				total, plain = total-x*n.value, plain && n.value == 0
			}
		}
		if into == nil {
			continue
		}
		row := make([]float64, len(into.names)+1)
		for name, x := range sum.of {
			if i, unknown := into.at[name]; unknown {
				row[i] = float64(x)
			}
		}
		row[len(row)-1] = float64(total)
		into.rows = append(into.rows, row)
		if plain {
			into.plain = append(into.plain, row)
		}
	}
	return all
}

func (s *system) place(name string, n pageNumber) {
	s.at[name] = len(s.names)
	s.names = append(s.names, name)
	s.least = append(s.least, 0)
	if n.hidden {
		s.least[len(s.least)-1] = 1 // Noughts are shown.
	}
}

// with is the system of a reader who guesses one number.
func (s *system) with(name string, value int64) *system {
	row := make([]float64, len(s.names)+1)
	row[s.at[name]], row[len(s.names)] = 1, float64(value)
	return &system{s.names, s.at, s.least, append(slices.Clone(s.rows), row), nil}
}

// simplex is a tableau of linear programming: rows of numbers that are none at least,
// each solved for its basic one (Dantzig 1947; Bland 1977 against going round).
type simplex struct {
	rows  [][]float64
	basis []int
	n     int
}

const tiny = 1e-7

// newSimplex finds a solution to begin from; false where there is none.
func newSimplex(s *system) (*simplex, bool) {
	n, m := len(s.names), len(s.rows)
	p := &simplex{n: n}
	for k, from := range s.rows {
		row := make([]float64, n+m+1)
		copy(row, from[:n])
		row[n+m] = from[n]
		for i, x := range from[:n] {
			row[n+m] -= x * s.least[i]
		}
		if row[n+m] < 0 {
			for i := range row {
				row[i] = -row[i]
			}
		}
		row[n+k] = 1
		p.rows, p.basis = append(p.rows, row), append(p.basis, n+k)
	}
	cost := make([]float64, n+m)
	for k := range m {
		cost[n+k] = 1
	}
	if left, _ := p.least(cost); left > 1e-5 {
		return nil, false
	}
	// What is left of the help goes out of the basis, or its row says nothing.
	var rows [][]float64
	var basis []int
	for k := range p.rows {
		if p.basis[k] >= n {
			if i := slices.IndexFunc(p.rows[k][:n], func(x float64) bool { return math.Abs(x) > tiny }); i >= 0 {
				p.pivot(k, i)
			}
		}
	}
	for k, row := range p.rows {
		if p.basis[k] < n {
			rows, basis = append(rows, append(row[:n:n], row[n+m])), append(basis, p.basis[k])
		}
	}
	p.rows, p.basis = rows, basis
	return p, true
}

func (p *simplex) pivot(k, i int) {
	x := p.rows[k][i]
	for j := range p.rows[k] {
		p.rows[k][j] /= x
	}
	for other, row := range p.rows {
		if x := row[i]; other != k && x != 0 {
			for j, y := range p.rows[k] {
				row[j] -= x * y
			}
		}
	}
	p.basis[k] = i
}

// least is the least that a cost can be; unbounded where there is no end to it.
func (p *simplex) least(cost []float64) (value float64, bounded bool) {
	for step := 0; ; step++ {
		into, best := -1, -tiny
		for i, c := range cost {
			for k, row := range p.rows {
				c -= cost[p.basis[k]] * row[i]
			}
			if c < best {
				if into, best = i, c; step > 300 {
					break
				}
			}
		}
		if into < 0 {
			for k, row := range p.rows {
				value += cost[p.basis[k]] * row[len(row)-1]
			}
			return value, true
		}
		out, ratio := -1, math.Inf(1)
		for k, row := range p.rows {
			if row[into] > tiny {
				if r := row[len(row)-1] / row[into]; r < ratio-tiny || r < ratio+tiny && p.basis[k] < p.basis[out] {
					out, ratio = k, r
				}
			}
		}
		if out < 0 {
			return 0, false
		}
		p.pivot(out, into)
	}
}

// span is between which whole numbers one of the system lies.
func (p *simplex) span(s *system, name string) (low, high int64) {
	at := s.at[name]
	cost := make([]float64, p.n)
	cost[at] = 1
	least, _ := p.least(cost)
	cost[at] = -1
	most, bounded := p.least(cost)
	low, high = int64(math.Ceil(least+s.least[at]-1e-4)), math.MaxInt32
	if bounded {
		high = int64(math.Floor(-most + s.least[at] + 1e-4))
	}
	return low, high
}

// possible are how many values a reader leaves to a hidden count of fewer than five,
// and how many ways there are: where it is known together with others, and may be as
// few as it could be anyhow, those of the others with it.
func possible(s *system, p *simplex, name string, spans map[string][2]int64) (values, ways int64) {
	const small = 5
	low, high := spans[name][0], min(spans[name][1], small-1)
	values = high - max(low, 1) + 1
	if values != 2 {
		return values, values
	}
	// Where two reasons stand by name, there are two at least.
	any, _ := newSimplex(&system{s.names, s.at, s.least, s.plain, nil})
	if least, _ := any.span(s, name); low > least {
		return values, values
	}
	one, other := map[string][2]int64{}, map[string][2]int64{}
	for value, into := range map[int64]map[string][2]int64{low: one, high: other} {
		guess := s.with(name, value)
		q, fits := newSimplex(guess)
		if !fits {
			return 1, 1
		}
		for with, span := range spans {
			if with != name && span[1]-span[0] < 2*small {
				low, high := q.span(guess, with)
				into[with] = [2]int64{low, high}
			}
		}
	}
	most := func(guess map[string][2]int64) (n int64) {
		n = 1
		for with, span := range guess {
			if one[with] != other[with] {
				n = max(n, span[1]-span[0]+1)
			}
		}
		return n
	}
	return values, most(one) + most(other)
}

// attack lists the hidden counts under five that a reader of a page places too nearly;
// open is the same page with every count shown.
func attack(t *testing.T, page, open *packPage) (found []string, tried int) {
	t.Helper()
	k, truth := learn(t, page), learn(t, open)
	for _, s := range truth.systems() {
		p, fits := newSimplex(s)
		if !fits {
			t.Errorf("lines of testdata/identities.txt do not hold where every count is shown: they speak of %q", s.names)
			continue
		}
		for _, name := range s.names {
			if n := truth.numbers[name]; n.guarded {
				low, high := p.span(s, name)
				if n.value = low; low != high {
					t.Errorf("%s is not told where every count is shown", name)
				}
				truth.numbers[name] = n
			}
		}
	}
	for _, sum := range truth.sums {
		total, free := int64(0), false
		for name, x := range sum.of {
			total, free = total+x*truth.numbers[name].value, free || truth.numbers[name].free
		}
		if total != 0 && !free {
			t.Errorf("%s does not hold where every count is shown: %d off", sum.line, total)
		}
	}
	for _, s := range k.systems() {
		p, fits := newSimplex(s)
		if !fits {
			t.Errorf("what the page shows cannot be: %q", s.names)
			continue
		}
		spans := map[string][2]int64{}
		for _, name := range s.names {
			if n := k.numbers[name]; n.hidden || n.guarded {
				low, high := p.span(s, name)
				spans[name] = [2]int64{low, high}
			}
		}
		for _, name := range slices.Sorted(maps.Keys(spans)) {
			n, there := truth.numbers[name]
			if !there {
				continue // Its row stands elsewhere there.
			}
			if n.value < spans[name][0] || n.value > spans[name][1] {
				t.Errorf("%s is %d, and the attack says %v", name, n.value, spans[name])
			}
			if n.value == 0 || n.value >= 5 {
				continue
			}
			tried++
			if values, ways := possible(s, p, name, spans); values < 2 || ways < 3 {
				found = append(found, fmt.Sprintf("%s is %d: from the page it follows that it is %d to %d, in %d ways", name, n.value, spans[name][0], spans[name][1], ways))
			}
		}
	}
	return found, tried
}

// withEveryCount copies a site and makes its pack with every count shown.
func withEveryCount(t *testing.T, site string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "open")
	if err := os.CopyFS(to, os.DirFS(filepath.Dir(site))); err != nil {
		t.Fatal(err)
	}
	policy := filepath.Join(to, "policy.yaml")
	write(t, policy, readFile(t, policy)+"small_count:\n  value: 1\n  source: the committee's minutes (invented)\n")
	site = filepath.Join(to, "site.yaml")
	ask(t, "report", "--site", site, "--period", demoMonth, "--today", "2026-12-05")
	return site
}

// TestNoHiddenCountFollowsFromThePage attacks pages as a reader does who has paper, a
// program for linear equations and no part of ours: by the sums of identities.txt, and
// since nobody is fewer than none and what is hidden is one at least, no count of fewer
// than five may be known to be one of two, unless with others in three ways at least.
func TestNoHiddenCountFollowsFromThePage(t *testing.T) {
	for _, one := range []struct {
		name    string
		options *invent.Options
	}{{"demo", nil}, {"tiny", &invent.Options{Beds: 40, Episodes: 9, Labs: 4800}}, {"careless", &invent.Options{Careless: true, Labs: 4800}}} {
		t.Run(one.name, func(t *testing.T) {
			var site string
			if one.options == nil {
				site = demoSite(t)
			} else {
				site = lookedAt(t, t.TempDir(), demoMonth, *one.options, nil)
			}
			text := committee(t, site)
			page, open := readPack(t, text), readPack(t, committee(t, withEveryCount(t, site)))
			found, tried := attack(t, page, open)
			for _, one := range found {
				t.Error(one)
			}
			if tried < 80 {
				t.Errorf("%d hidden counts attacked: the test proves little", tried)
			}
			t.Logf("%d hidden counts attacked, %d found; %d cells of the page are hidden", tried, len(found), strings.Count(text, ">hidden</td>"))
			if one.options != nil {
				return
			}
			// Shown again one by one, the months' episodes given give others away.
			given, noticed, again := page.articles["tested_after"], 0, 0
			column := given.column("Episodes given")
			for i, row := range given.rows {
				if row[column] == "hidden" {
					again++
					row[column] = open.articles["tested_after"].rows[i][column]
					if found, _ := attack(t, page, open); len(found) > 0 {
						noticed++
					}
					row[column] = "hidden"
				}
			}
			if again < 5 || noticed*3 < again*2 {
				t.Errorf("of %d months shown again the attack notices %d", again, noticed)
			}
			t.Logf("of %d months shown again the attack notices %d", again, noticed)
		})
	}
}
