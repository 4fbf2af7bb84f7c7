package main

import (
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thawline/internal/figure"
)

// decidedLines are those of the demo's decisions.yaml, and the month from which its figure
// may have moved: that in which it was done, else decided.
var decidedLines = []struct {
	cells []string // date, decision, owner, due, done
	aims  string
	month string
	done  bool
}{
	{[]string{"2025-09-28", "Teach ordering by weight on every ward; the request form asks for kg", "lead nurse for transfusion", "2025-11-12", "2025-11-12"}, "appropriate_by_month", "2025-11", true},
	{[]string{"2026-07-14", "Thaw when the porter is at the door, not when the telephone rings", "blood bank manager", "2026-10-01", "overdue"}, "waste_by_month", "2026-07", false},
	{[]string{"2026-09-15", "Ask the theatre office for the bleeding risk of each procedure", "chair of the committee", "2026-12-01", "open"}, "", "", false},
}

// decisions recomputes the table of what earlier meetings decided: the share of up to
// twelve months before and after, those that the page hides and the month itself left
// out, and the difference by Newcombe's hybrid score method (1998, Stat Med 17:873).
func (d *rows) decisions(p *packPage) (all [][]string) {
	for _, one := range decidedLines {
		a := p.articles[one.aims]
		if a == nil {
			all = append(all, append(slices.Clone(one.cells), "–", "–", "–", "It aims at no figure of this pack."))
			continue
		}
		w := d.recomputed()[one.aims]
		n, of := shownNumbers(a, w, 1), shownNumbers(a, w, 2)
		at := slices.Index(d.months, one.month)
		side := func(from, step int) (k, m, months int) {
			for r := from; r >= 0 && r < len(n) && months < 12; r += step {
				if !math.IsNaN(n[r]) && of[r] > 0 {
					k, m, months = k+int(n[r]), m+int(of[r]), months+1
				}
			}
			return k, m, months
		}
		k1, n1, before := side(at-1, -1)
		k2, n2, after := side(at+1, 1)
		told := func(k, n, months int) string {
			low, high := wilson(k, n)
			return fmt.Sprintf("%s (%s to %s; %s of %s, %d months)", percent(float64(k)/float64(n)), percent(low), percent(high), withCommas(k), withCommas(n), months)
		}
		since := "since the decision"
		if one.done {
			since = "since it was done"
		}
		p1, p2 := float64(k1)/float64(n1), float64(k2)/float64(n2)
		low1, high1 := wilson(k1, n1)
		low2, high2 := wilson(k2, n2)
		low, high := 100*(p2-p1-math.Hypot(p2-low2, high1-p1)), 100*(p2-p1+math.Hypot(high2-p2, p1-low1))
		points := func(a, b float64) string { return decimal(a, 1) + " to " + decimal(b, 1) + " percentage points" }
		var says string
		switch {
		case min(before, after) < 8:
			says = fmt.Sprintf("Too few months to say: %d before and %d %s, where eight a side are wanted.", before, after, since)
		case low > 0:
			says = "Higher " + since + ", by " + points(low, high) + "."
		case high < 0:
			says = "Lower " + since + ", by " + points(-high, -low) + "."
		default:
			says = "Not moved beyond chance " + since + " (difference " + points(low, high) + ")."
		}
		if one.aims == "waste_by_month" {
			says += " Units of one patient come together: the interval is too narrow."
		}
		all = append(all, append(slices.Clone(one.cells), a.asks, told(k1, n1, before), told(k2, n2, after), says))
	}
	return all
}

// exports say, by the beginning of a file's name, what a row's code must be to be taken:
// the maps of the demo's site.yaml.
var exports = []struct {
	begins, feed, column string
	codes                []string
}{
	{"bank", "issues", "", nil},
	{"ward", "bedside", "", nil},
	{"results", "labs", "Test", []string{"INR", "PTS", "APTTR", "FIBC", "VCT", "HGB", "PLTC", "HCT"}},
	{"obs", "measures", "Item", []string{"WT", "HT"}},
	{"clin", "events", "Type", []string{"BLEED", "MHP", "DX", "REACT", "EXCH", "DEATH"}},
	{"theatre", "events", "Row", []string{"OPER"}},
	{"meds", "medicines", "Drug", []string{"WARF", "DOAC", "HEPU", "VITK", "TXA"}},
	{"register", "patients", "", nil},
	{"merges", "aliases", "", nil},
	{"activity", "activity", "", nil},
}

// bankCodes are the codes that the demo maps of columns that may be empty.
var bankCodes = map[string][]string{"Outcome": {"TX", "RT", "WS"}, "Reason": {"BLD", "MHP", "PRC", "PEX", "CPB", "FDF", "INR", "OTH"}, "BinWhy": {"EXPT", "TEMP", "NLN", "DIED", "STK", "DMG"}}

// plainResult says of a result of the demo that it is a number, alone or with a sign
// of a limit, or a word that is known without a map.
func plainResult(text string) bool {
	_, err := strconv.ParseFloat(strings.TrimLeft(text, "<>= "), 64)
	return err == nil || slices.Contains([]string{"", "unclottable", "haemolysed"}, text)
}

// sources recomputes both tables of what was read, from the exports themselves; what
// was rejected is what the problems list.
func (d *rows) sources(t *testing.T, inbox string) (byFeed, byFile map[string][]string) {
	t.Helper()
	rejected := map[string]map[string]bool{}
	for _, r := range pick(d.problems, isIn("severity", "rejected")) {
		if rejected[r["source_file"]] == nil {
			rejected[r["source_file"]] = map[string]bool{}
		}
		rejected[r["source_file"]][r["source_row"]] = true
	}
	byFeed, byFile = map[string][]string{}, map[string][]string{}
	noCode := map[string]map[string]bool{}
	for _, kind := range exports {
		files, err := filepath.Glob(filepath.Join(inbox, kind.begins+"_*.csv"))
		if err != nil || len(files) == 0 {
			t.Fatalf("no exports begin with %s: %v", kind.begins, err)
		}
		for _, file := range files {
			text := readFile(t, file)
			reader := csv.NewReader(strings.NewReader(strings.TrimPrefix(text, "\ufeff")))
			if at := strings.IndexAny(text, ",;|"); at >= 0 {
				reader.Comma = rune(text[at])
			}
			lines, err := reader.ReadAll()
			if err != nil {
				t.Fatal(err)
			}
			aside, unknown := 0, 0
			if noCode[kind.feed] == nil {
				noCode[kind.feed] = map[string]bool{}
			}
			column := slices.Index(lines[0], kind.column)
			for _, line := range lines[1:] {
				if column >= 0 && !slices.Contains(kind.codes, line[column]) {
					aside++
				}
				if result := slices.Index(lines[0], "Result"); kind.begins == "results" && slices.Contains(kind.codes, line[column]) && !plainResult(line[result]) {
					unknown++
					noCode[kind.feed][line[result]] = true
				}
				for i, head := range lines[0] {
					if codes := bankCodes[head]; kind.begins == "bank" && codes != nil && line[i] != "" && !slices.Contains(codes, line[i]) {
						unknown++
						noCode[kind.feed][head+"="+line[i]] = true
					}
				}
			}
			name := filepath.Base(file)
			read, out := len(lines)-1, len(rejected[name])
			sum := sha256.Sum256([]byte(text))
			byFile[name] = []string{name, kind.feed, name[len(kind.begins)+1 : len(name)-4], withCommas(read), withCommas(read - out - aside), withCommas(out), withCommas(aside), hex.EncodeToString(sum[:])[:16]}
			total := byFeed[kind.feed]
			if total == nil {
				total = []string{kind.feed, "0", "0", "0", "0", "0"}
			}
			for i, n := range []int{read, read - out - aside, out, aside, unknown} {
				total[i+1] = withCommas(int(float(strings.ReplaceAll(total[i+1], ",", ""))) + n)
			}
			byFeed[kind.feed] = total
		}
	}
	for feed, codes := range noCode {
		form := map[bool]string{true: "%s row", false: "%s rows"}[byFeed[feed][5] == "1"] + map[bool]string{true: ", %d code", false: ", %d codes"}[len(codes) == 1]
		if len(codes) > 0 {
			byFeed[feed][5] = fmt.Sprintf(form, byFeed[feed][5], len(codes))
		}
	}
	return byFeed, byFile
}

// checkTables compares the tables that belong to no figure.
func (d *rows) checkTables(p *packPage) (wrong []string) {
	same := func(title string, want [][]string) {
		got := p.tables[title]
		for i := range max(len(got), len(want)) {
			var a, b []string
			if i < len(got) {
				a = got[i]
			}
			if i < len(want) {
				b = want[i]
			}
			if !slices.Equal(a, b) {
				wrong = append(wrong, fmt.Sprintf("%s: row %d is %q, recomputed %q", title, i+1, a, b))
			}
		}
	}
	same("What earlier meetings decided", d.decisions(p))
	inOrder := func(title string, by map[string][]string) {
		var all [][]string
		for _, row := range p.tables[title] {
			all = append(all, by[row[0]])
		}
		if len(all) != len(by) {
			wrong = append(wrong, fmt.Sprintf("%s: %d rows, recomputed %d", title, len(all), len(by)))
		}
		same(title, all)
	}
	inOrder("What was read", d.feedsRead)
	inOrder("The sources read", d.filesRead)
	return append(wrong, d.checkPolicy(p)...)
}

// check compares a whole page.
func (d *rows) check(p *packPage, panels map[string]figure.Panel) []string {
	return slices.Concat(d.checkPack(p, panels, d.recomputed()), d.checkAnswer(p, panels), d.checkTables(p))
}
