package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thawline/internal/audit"
	"thawline/internal/policy"
)

// markedSite marks a copy of the demo's records by another policy, the whole
// way that a hospital would, and returns its site file.
func markedSite(t *testing.T, policyText string) string {
	t.Helper()
	first, second := filepath.Dir(demoSite(t)), t.TempDir()
	if err := os.CopyFS(filepath.Join(second, "store"), os.DirFS(filepath.Join(first, "store"))); err != nil {
		t.Fatal(err)
	}
	copyFile(t, filepath.Join(first, "site.yaml"), filepath.Join(second, "site.yaml"))
	writeText(t, filepath.Join(second, "policy.yaml"), policyText)
	copied := filepath.Join(second, "site.yaml")
	ask(t, "mark", "--site", copied)
	return copied
}

// markedCopy is the marks of markedSite by episode_id.
func markedCopy(t *testing.T, policyText string) map[string]string {
	t.Helper()
	marks := map[string]string{}
	for _, row := range table(t, markedSite(t, policyText), "SELECT episode_id, mark FROM episodes") {
		marks[row["episode_id"]] = row["mark"]
	}
	return marks
}

func writeText(t *testing.T, name, text string) {
	t.Helper()
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// demoKey is the key of the demo's pseudonyms.
func demoKey(t *testing.T, siteFile string) []byte {
	t.Helper()
	_, st := openSite(t, siteFile, false)
	defer st.Close()
	key, err := st.Key()
	if err != nil {
		t.Fatal(err)
	}
	return key
}

// TestCompareCountsWhatTwoMarkingsSay raises the limit for a bleeding patient,
// and recomputes what compare says from two full markings.
func TestCompareCountsWhatTwoMarkingsSay(t *testing.T) {
	siteFile := demoSite(t)
	policyText := readFile(t, filepath.Join(filepath.Dir(siteFile), "policy.yaml"))
	raised := policyText + "over_bleeding: 1.8\n"
	before, after := markedCopy(t, policyText), markedCopy(t, raised)
	key := demoKey(t, siteFile)
	changed, moves := map[string][2]string{}, map[[2]string]int{}
	for id, mark := range before {
		if after[id] == "" {
			t.Fatal("a judging value took an episode away")
		}
		if after[id] != mark {
			changed[audit.Pseudonym(key, audit.EpisodeKind, id)] = [2]string{mark, after[id]}
			moves[[2]string{mark, after[id]}]++
		}
	}
	if len(changed) == 0 || len(before) != len(after) {
		t.Fatalf("%d of %d and %d episodes change: the test proves nothing", len(changed), len(before), len(after))
	}

	other := filepath.Join(t.TempDir(), "other.yaml")
	writeText(t, other, raised)
	root := filepath.Join(filepath.Dir(siteFile), "store")
	files := hashes(t, root)
	said := ask(t, "compare", "--site", siteFile, "--policy", other, "--json")
	var got audit.Comparison
	if err := json.Unmarshal([]byte(said), &got); err != nil {
		t.Fatal(err)
	}
	if !maps.Equal(files, hashes(t, root)) {
		t.Error("compare changed the store")
	}
	listed, counted := map[string][2]string{}, map[[2]string]int{}
	for _, change := range got.Changes {
		listed[change.Episode] = [2]string{change.From, change.To}
	}
	for _, move := range got.Moves {
		counted[[2]string{move.From, move.To}] = move.Episodes
	}
	if !maps.Equal(listed, changed) || !maps.Equal(counted, moves) || got.Episodes != len(before) || got.Changed != len(changed) {
		t.Errorf("compare says %d of %d change: %v; two markings say %d of %d: %v", got.Changed, got.Episodes, counted, len(changed), len(before), moves)
	}
	if len(got.Values) != 1 || got.Values[0].Name != "over_bleeding" || got.Values[0].Builds || got.Rebuilt || got.TableDiffers || len(got.OnlyOwn)+len(got.OnlyOther) > 0 {
		t.Errorf("compare says that these differ: %+v", got.Values)
	}

	// The words for a person name every one of them, and nobody.
	text := ask(t, "compare", "--site", siteFile, "--policy", other)
	for name := range changed {
		if !strings.Contains(text, name) {
			t.Errorf("compare does not list episode %s", name)
		}
	}
	if want := fmt.Sprintf("%d keep their mark + %d change it", len(before)-len(changed), len(changed)); !strings.Contains(text, want) {
		t.Errorf("compare does not say %q:\n%s", want, text)
	}
	for _, row := range table(t, siteFile, "SELECT DISTINCT patient_id AS id FROM episodes UNION SELECT episode_id FROM episodes UNION SELECT DISTINCT unit_no FROM units") {
		if strings.Contains(text+said, row["id"]) {
			t.Fatal("compare names a patient, an episode or a unit")
		}
	}
}

// TestCompareTakesADecisionTable makes every under-dosed episode undetermined.
func TestCompareTakesADecisionTable(t *testing.T) {
	siteFile := demoSite(t)
	marks, err := policy.LoadTable("")
	if err != nil {
		t.Fatal(err)
	}
	var names, lines []string
	for _, column := range marks.Columns()[1:] {
		names = append(names, column.Name)
	}
	lines = append(lines, strings.Join(names, ","))
	for _, row := range marks.Rows() {
		var cells []string
		for _, cell := range row[1:] {
			text := strings.ReplaceAll(cell.(string), `"`, `""`)
			cells = append(cells, `"`+strings.Replace(text, "under-dosed", "undetermined", 1)+`"`)
		}
		lines = append(lines, strings.Join(cells, ","))
	}
	file := filepath.Join(t.TempDir(), "marks.csv")
	writeText(t, file, strings.Join(lines, "\n")+"\n")
	var got audit.Comparison
	if err := json.Unmarshal([]byte(ask(t, "compare", "--site", siteFile, "--marks", file, "--json")), &got); err != nil {
		t.Fatal(err)
	}
	want := table(t, siteFile, "SELECT count(*) AS n FROM episodes WHERE mark = 'under-dosed'")[0]["n"]
	if len(got.Moves) != 1 || got.Moves[0].From != "under-dosed" || got.Moves[0].To != "undetermined" || fmt.Sprint(got.Changed) != want || !got.TableDiffers || len(got.Values) != 0 {
		t.Errorf("compare says %+v, %v; %s episodes are under-dosed", got.Moves, got.Values, want)
	}
}

func TestCompareRefuses(t *testing.T) {
	siteFile := demoSite(t)
	dir := t.TempDir()
	bad, badTable := filepath.Join(dir, "bad.yaml"), filepath.Join(dir, "bad.csv")
	writeText(t, bad, "over_bleding: 1.8\n")
	writeText(t, badTable, "outcome\n")
	for name, c := range map[string]struct {
		args []string
		want string
	}{
		"nothing named": {nil, "--policy FILE"},
		"unknown value": {[]string{"--policy", bad}, "bad.yaml:1"},
		"no such file":  {[]string{"--policy", filepath.Join(dir, "none.yaml")}, "none.yaml"},
		"broken table":  {[]string{"--marks", badTable}, "bad.csv:1"},
	} {
		t.Run(name, func(t *testing.T) {
			var out, errOut bytes.Buffer
			code := run(context.Background(), append([]string{"compare", "--site", siteFile}, c.args...), &out, &errOut)
			if code != exitWrong || !strings.Contains(errOut.String(), c.want) || out.Len() > 0 {
				t.Errorf("exit %d, says %q %q; wanted exit %d and %q", code, out.String(), errOut.String(), exitWrong, c.want)
			}
		})
	}
}

// TestOtherMarksAreWhatCompareSays holds the table other_marks against a whole
// judging of the store for every value that is tried: under the demo's policy,
// and under one whose values change on a date and leave no room for one of them.
func TestOtherMarksAreWhatCompareSays(t *testing.T) {
	ctx := context.Background()
	policyText := readFile(t, filepath.Join(filepath.Dir(demoSite(t)), "policy.yaml"))
	for _, c := range []struct{ name, policy string }{
		{"the demo's policy", policyText},
		{"values that change on a date", policyText + "over_bleeding: [{value: 1.8}, {from: 2026-03-01, value: 1.6}]\ndose_low: [{value: 10}, {from: 2026-01-01, value: 12}]\ndose_high: 15\nfull_dose_units: 5\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			siteFile := markedSite(t, c.policy)
			key := demoKey(t, siteFile)
			told := map[string]map[string]string{}
			for _, row := range table(t, siteFile, "SELECT value || ' ' || setting AS tried, episode_id, mark FROM other_marks") {
				if told[row["tried"]] == nil {
					told[row["tried"]] = map[string]string{}
				}
				told[row["tried"]][audit.Pseudonym(key, audit.EpisodeKind, row["episode_id"])] = row["mark"]
			}
			hospital, st := openSite(t, siteFile, false)
			defer st.Close()
			own, err := policy.Load(hospital.Policy)
			if err != nil {
				t.Fatal(err)
			}
			tried, err := policy.OtherValues()
			if err != nil {
				t.Fatal(err)
			}
			moved, refused := 0, 0
			for _, one := range tried {
				name := fmt.Sprintf("%s %.1f", one.Column, one.Setting)
				other, err := own.With(one.Column, one.Setting)
				if err != nil {
					refused++
					if len(told[name]) > 0 {
						t.Errorf("%s: the policy does not allow it, and %d marks stand under it", name, len(told[name]))
					}
					continue
				}
				if setting, always := own.Always(one.Column); always && setting == one.Setting {
					if len(told[name]) > 0 {
						t.Errorf("%s is the site's own value, and %d marks differ", name, len(told[name]))
					}
					continue
				}
				wanted, err := audit.Compare(ctx, st, hospital, own, other)
				if err != nil {
					t.Fatal(err)
				}
				marks := map[string]string{}
				for _, change := range wanted.Changes {
					marks[change.Episode] = change.To
				}
				moved += len(marks)
				if !maps.Equal(told[name], marks) {
					t.Errorf("%s: other_marks has %d episodes, compare %d, or other marks for them", name, len(told[name]), len(marks))
				}
			}
			if moved < 100 || (refused == 1) != strings.Contains(c.policy, "dose_high") {
				t.Errorf("%d marks move, %d values are refused: the test proves little", moved, refused)
			}
		})
	}
}

// TestAPackSaysThatMarksAreBehind changes the policy without marking: the screen
// and the pack tell, until the marks are made anew.
func TestAPackSaysThatMarksAreBehind(t *testing.T) {
	policyText := readFile(t, filepath.Join(filepath.Dir(demoSite(t)), "policy.yaml"))
	siteFile := markedSite(t, policyText)
	report := func() (said, page string) {
		var out, errOut bytes.Buffer
		dir := t.TempDir()
		if code := run(context.Background(), []string{"report", "--site", siteFile, "--period", demoMonth, "--out", dir}, &out, &errOut); code != exitDone && code != exitIncomplete {
			t.Fatal(errOut.String())
		}
		return errOut.String(), readFile(t, filepath.Join(dir, "committee.html"))
	}
	const words = "The marks are behind the records or the policy"
	if said, page := report(); strings.Contains(said, "behind") || strings.Contains(page, words) {
		t.Errorf("marks that are as they should be are said to be behind: %s", said)
	}
	writeText(t, filepath.Join(filepath.Dir(siteFile), "policy.yaml"), policyText+"dose_low: 12\n")
	if said, page := report(); !strings.Contains(said, "run thawline mark") || !strings.Contains(page, words) {
		t.Errorf("marks of another policy: the screen says %q, the pack says so %t", said, strings.Contains(page, words))
	}
	ask(t, "mark", "--site", siteFile)
	if said, page := report(); strings.Contains(said, "behind") || strings.Contains(page, words) {
		t.Errorf("marked anew, and still said to be behind: %s", said)
	}
}
