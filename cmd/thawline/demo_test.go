package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/site"
	"thawline/internal/store"
)

// demo makes the invented hospital once for all tests of this package and
// returns its folder.
var demo = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "thawline-demo-")
	if err != nil {
		return "", err
	}
	demoDir = dir
	var out, errOut bytes.Buffer
	if code := run(context.Background(), []string{"demo", "--dir", filepath.Join(dir, "first")}, &out, &errOut); code != exitDone && code != exitIncomplete {
		return "", &demoError{errOut.String()}
	}
	return filepath.Join(dir, "first"), nil
})

var demoDir string

type demoError struct{ said string }

func (e *demoError) Error() string { return "the demo failed:\n" + e.said }

func TestMain(m *testing.M) {
	if playOther() {
		return
	}
	code := m.Run()
	stopBrowser()
	if demoDir != "" {
		os.RemoveAll(demoDir)
	}
	os.Exit(code)
}

func demoSite(t *testing.T) string {
	t.Helper()
	dir, err := demo()
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "site.yaml")
}

// openSite loads a site file and opens its store, which the caller closes.
func openSite(t *testing.T, file string, write bool) (*site.Site, *store.Store) {
	t.Helper()
	s, err := site.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	st, err := store.Open(s.Store, write)
	if err != nil {
		t.Fatal(err)
	}
	return s, st
}

// ask runs a verb that must succeed and returns what it wrote to its output.
func ask(t *testing.T, args ...string) string {
	t.Helper()
	var out, errOut bytes.Buffer
	if code := run(context.Background(), args, &out, &errOut); code != exitDone {
		t.Fatalf("thawline %s: exit %d\n%s", strings.Join(args, " "), code, errOut.String())
	}
	return out.String()
}

// table runs a query and returns its rows by column name.
func table(t *testing.T, site, sql string) []map[string]string {
	t.Helper()
	records, err := csv.NewReader(strings.NewReader(ask(t, "query", "--site", site, "--as", "csv", sql))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, record := range records[1:] {
		row := map[string]string{}
		for i, name := range records[0] {
			row[name] = record[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// TestDemoRecoversItsPlantedTruths compares every mark with what the generator
// meant: the mark where all inputs are there, undetermined where a gap was
// planted.
func TestDemoRecoversItsPlantedTruths(t *testing.T) {
	site := demoSite(t)
	file, err := os.Open(filepath.Join(filepath.Dir(site), "truth.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	truth, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]map[string]string{}
	for _, row := range table(t, site, `
SELECT episodes.patient_id, strftime(episodes.first_issued_at, '%Y-%m-%dT%H:%M:%SZ') AS first_issued_at,
    episodes.mark, episodes.dose_band, episodes.basis, episodes.coagulopathy, episodes.outcome
FROM episodes ORDER BY episodes.patient_id, episodes.first_issued_at`) {
		found[row["patient_id"]+"|"+row["first_issued_at"]] = row
	}
	type gap struct{ Scenario, Column, Got, Want string }
	gaps := map[gap]int{}
	marks := map[string]int{}
	for _, record := range truth[1:] {
		want := map[string]string{}
		for i, name := range truth[0] {
			want[name] = record[i]
		}
		got := found[want["patient_id"]+"|"+want["first_issued_at"]]
		if got == nil {
			gaps[gap{want["scenario"], "episode", "missing", "present"}]++
			continue
		}
		marks[want["mark"]]++
		for _, column := range []string{"mark", "dose_band", "basis", "coagulopathy"} {
			if want[column] != "" && got[column] != want[column] {
				gaps[gap{want["scenario"], column, got[column], want[column]}]++
			}
		}
		if want["complete"] == "no" && got["mark"] != "undetermined" && want["mark"] == "undetermined" {
			gaps[gap{want["scenario"], "guess", got["mark"], "undetermined"}]++
		}
	}
	for g, n := range gaps {
		t.Errorf("%d × %s: %s is %q, planted %q", n, g.Scenario, g.Column, g.Got, g.Want)
	}
	if len(found) != len(truth)-1 {
		t.Errorf("%d episodes, %d planted", len(found), len(truth)-1)
	}
	for _, mark := range []string{"appropriate", "under-dosed", "non-bleeding", "unsupported", "undetermined", "set-apart", "wasted", "returned"} {
		if marks[mark] == 0 {
			t.Errorf("the invented hospital plants no episode that is %s: the test proves nothing about it", mark)
		}
	}
}

// TestDemoIsTheSameWhateverTheOrderOfArrival takes the exports in one by one,
// in reverse, into a store of its own: current, audit and pack must come out
// byte by byte as when they are taken in at once.
func TestDemoIsTheSameWhateverTheOrderOfArrival(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a hospital in seven times")
	}
	first := filepath.Dir(demoSite(t))
	second := t.TempDir()
	for _, name := range []string{"site.yaml", "policy.yaml", "decisions.yaml"} {
		copyFile(t, filepath.Join(first, name), filepath.Join(second, name))
	}
	inbox, err := os.ReadDir(filepath.Join(first, "inbox"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(second, "inbox"), 0o750); err != nil {
		t.Fatal(err)
	}
	site := filepath.Join(second, "site.yaml")
	// Six arrivals, the last files first.
	for i := range 6 {
		for j, entry := range inbox {
			if (len(inbox)-1-j)%6 == i {
				copyFile(t, filepath.Join(first, "inbox", entry.Name()), filepath.Join(second, "inbox", entry.Name()))
			}
		}
		var out, errOut bytes.Buffer
		if code := run(context.Background(), []string{"ingest", "--site", site}, &out, &errOut); code != exitDone && code != exitIncomplete {
			t.Fatalf("ingest: exit %d\n%s", code, errOut.String())
		}
	}
	ask(t, "mark", "--site", site)
	// The key is random, and the pseudonyms that it makes differ.
	for _, layer := range []string{"current", "audit"} {
		if diff := cmp.Diff(hashes(t, filepath.Join(first, "store", layer)), hashes(t, filepath.Join(second, "store", layer))); diff != "" {
			t.Errorf("layer %s differs (- at once, + in six arrivals):\n%s", layer, diff)
		}
	}
	// A month with no pack before it: what packs said is a history of its own.
	var packs [2]map[string]string
	for i, dir := range []string{first, second} {
		out := filepath.Join(t.TempDir(), "copy")
		var said, errOut bytes.Buffer
		if code := run(context.Background(), []string{"report", "--site", filepath.Join(dir, "site.yaml"), "--period", "2026-08", "--today", "2026-11-05", "--out", out}, &said, &errOut); code != exitDone && code != exitIncomplete {
			t.Fatalf("report: exit %d\n%s", code, errOut.String())
		}
		packs[i] = hashes(t, out)
	}
	if diff := cmp.Diff(packs[0], packs[1]); diff != "" {
		t.Errorf("the pack differs (- at once, + in six arrivals):\n%s", diff)
	}
}

// TestLateRecordsAreTold compares the marks that the demo's first pack said with
// those that hold now: the second pack must list exactly these episodes.
func TestLateRecordsAreTold(t *testing.T) {
	site := demoSite(t)
	packs := filepath.Join(filepath.Dir(site), "store", "packs")
	var told struct {
		Last struct {
			Period string `json:"period"`
			Marks  string `json:"marks_sha256"`
		} `json:"last_pack"`
	}
	if err := json.Unmarshal([]byte(readFile(t, filepath.Join(packs, demoMonth, "run.json"))), &told); err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256([]byte(readFile(t, filepath.Join(packs, demoMonthBefore, "marks.parquet"))))
	if told.Last.Period != demoMonthBefore || told.Last.Marks != hex.EncodeToString(sum[:]) {
		t.Errorf("run.json names the last pack %+v, wanted %s with the hash of its marks", told.Last, demoMonthBefore)
	}
	rows := table(t, site, `
WITH said AS (SELECT * FROM pack_marks WHERE period = '`+demoMonthBefore+`'),
now AS (SELECT * FROM episodes WHERE month BETWEEN (SELECT min(month) FROM said) AND '`+demoMonthBefore+`')
SELECT coalesce(said.mark, '') AS was, coalesce(now.mark, '') AS now
FROM said FULL JOIN now ON now.episode_id = said.episode_id
WHERE coalesce(said.mark, '') <> coalesce(now.mark, '')`)
	if len(rows) == 0 {
		t.Fatal("no mark of the demo changed with its last exports: the test proves nothing")
	}
	_, list, _ := strings.Cut(readFile(t, filepath.Join(packs, demoMonth, "cases.html")), "Marks that changed since the last pack")
	list, _, _ = strings.Cut(list, "</section>")
	if n := strings.Count(list, "<tr><td><code>"); n != len(rows) {
		t.Errorf("cases.html lists %d episodes whose mark changed, %d did", n, len(rows))
	}
	if html := readFile(t, filepath.Join(packs, demoMonth, "committee.html")); !strings.Contains(html, "Since the pack of Sep 2026") {
		t.Error("the pack does not name the one before")
	}
}

// TestIndexLeadsToEveryPack: both packs of the demo, the later first, with the
// figures that head them.
func TestIndexLeadsToEveryPack(t *testing.T) {
	packs := filepath.Join(filepath.Dir(demoSite(t)), "store", "packs")
	index := readFile(t, filepath.Join(packs, "index.html"))
	later, before := strings.Index(index, `href="`+demoMonth+`/committee.html"`), strings.Index(index, `href="`+demoMonthBefore+`/committee.html"`)
	if later < 0 || before < later {
		t.Errorf("the packs stand at %d and %d of the index, wanted the later first", later, before)
	}
	for _, pack := range []string{demoMonth, demoMonthBefore} {
		strip := regexp.MustCompile(`(?s)<dl class="strip">.*?</dl>`).FindString(readFile(t, filepath.Join(packs, pack, "committee.html")))
		figures := regexp.MustCompile(`<dd>([^<]+)</dd>`).FindAllStringSubmatch(strip, -1)
		if len(figures) < 5 {
			t.Fatalf("pack %s is headed by %d figures", pack, len(figures))
		}
		for _, f := range figures {
			if !regexp.MustCompile(`<td class="n" data-label="[^"]+">` + regexp.QuoteMeta(f[1]) + `<`).MatchString(index) {
				t.Errorf("the index does not tell the figure %q of pack %s", f[1], pack)
			}
		}
	}
	if strings.Contains(index, "<script") {
		t.Error("the index holds a script")
	}
}

// TestDemoAgainChangesNothing runs the same exports again over the same store.
func TestDemoAgainChangesNothing(t *testing.T) {
	site := demoSite(t)
	root := filepath.Join(filepath.Dir(site), "store")
	before := hashes(t, root)
	var out, errOut bytes.Buffer
	if code := run(context.Background(), []string{"audit", "--site", site, "--period", demoMonth, "--today", "2026-11-05"}, &out, &errOut); code != exitDone && code != exitIncomplete {
		t.Fatalf("audit: exit %d\n%s", code, errOut.String())
	}
	if diff := cmp.Diff(before, hashes(t, root)); diff != "" {
		t.Errorf("the store changed:\n%s", diff)
	}
}

// TestSumsAddUp recomputes the sums that the program says it checks.
func TestSumsAddUp(t *testing.T) {
	site := demoSite(t)
	var manifest struct {
		Readings []struct {
			File                               string
			Read, Accepted, Rejected, SetAside int64
		} `json:"readings"`
	}
	text, err := os.ReadFile(filepath.Join(filepath.Dir(site), "store", "manifest.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(bytes.ReplaceAll(text, []byte(`"set_aside"`), []byte(`"setaside"`)), &manifest); err != nil {
		t.Fatal(err)
	}
	var read, rejected, setAside int64
	for _, r := range manifest.Readings {
		if r.Read != r.Accepted+r.Rejected+r.SetAside {
			t.Errorf("%s: %d rows read, but %d + %d + %d", r.File, r.Read, r.Accepted, r.Rejected, r.SetAside)
		}
		read, rejected, setAside = read+r.Read, rejected+r.Rejected, setAside+r.SetAside
	}
	if read == 0 || rejected == 0 || setAside == 0 {
		t.Errorf("%d read, %d rejected, %d set aside: the exports hold nothing that could go wrong", read, rejected, setAside)
	}
	for _, row := range table(t, site, `
SELECT count(*) AS n,
    count(*) FILTER (units_issued <> units_transfused + units_presumed + units_returned + units_discarded + units_transferred + units_unknown) AS wrong,
    sum(units_issued)::BIGINT AS units,
    (SELECT count(*) FROM units WHERE episode_id IS NOT NULL) AS in_units
FROM episodes`) {
		if row["wrong"] != "0" || row["units"] != row["in_units"] {
			t.Errorf("units by fate do not add up: %v", row)
		}
	}
}

// TestPackHoldsNoPatient looks for every patient and unit number of the store
// in the committee's pack.
func TestPackHoldsNoPatient(t *testing.T) {
	site := demoSite(t)
	html := readFile(t, filepath.Join(filepath.Dir(site), "store", "packs", demoMonth, "committee.html"))
	words := map[string]bool{}
	for _, word := range regexp.MustCompile(`[A-Za-z0-9]+`).FindAllString(html, -1) {
		words[word] = true
	}
	rows := table(t, site, "SELECT DISTINCT patient_id AS id FROM episodes UNION SELECT DISTINCT unit_no FROM units UNION SELECT DISTINCT requester FROM episodes WHERE requester IS NOT NULL")
	if len(rows) < 100 {
		t.Fatalf("%d identifiers: too few to look for", len(rows))
	}
	for _, row := range rows {
		if words[row["id"]] {
			t.Errorf("the committee's pack holds an identifier of a person")
		}
	}
}

func TestExplainLeadsToTheSource(t *testing.T) {
	site := demoSite(t)
	row := table(t, site, "SELECT episode_id FROM episodes WHERE mark = 'under-dosed' ORDER BY episode_id LIMIT 1")[0]
	text := ask(t, "explain", "--site", site, row["episode_id"])
	for _, want := range []string{"under-dosed", "Units", "Weights considered", "Dose", "mL/kg", "Tests considered", "Bleeding evidence", "decision table", "Findings", ".csv:"} {
		if !strings.Contains(text, want) {
			t.Errorf("explain says nothing of %q:\n%s", want, text)
		}
	}
}

// TestExplainTakesTheNumberOfCases: what cases.html shows is what explain asks for.
func TestExplainTakesTheNumberOfCases(t *testing.T) {
	site := demoSite(t)
	html := readFile(t, filepath.Join(filepath.Dir(site), "store", "packs", demoMonth, "cases.html"))
	m := regexp.MustCompile(`href="#e-([0-9a-f]{10})"`).FindStringSubmatch(html)
	if m == nil {
		t.Fatal("cases.html points to no episode")
	}
	if text := ask(t, "explain", "--site", site, m[1]); !strings.Contains(text, "Episode "+m[1]) {
		t.Errorf("explain says:\n%s", text)
	}
}

func copyFile(t *testing.T, from, to string) {
	t.Helper()
	text, err := os.ReadFile(from)
	if err == nil {
		err = os.WriteFile(to, text, 0o640)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func readFile(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// hashes lists the files below a folder with the hash of each. Files made with
// the store's random key are left out where two stores are compared.
func hashes(t *testing.T, root string) map[string]string {
	t.Helper()
	all := map[string]string{}
	err := filepath.WalkDir(root, func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || entry.Name() == "cases.html" || entry.Name() == "run.json" || entry.Name() == "lock" {
			return err
		}
		text, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(text)
		relative, _ := filepath.Rel(root, name)
		all[relative] = hex.EncodeToString(sum[:8])
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(all) == 0 {
		t.Fatalf("no files in %s", root)
	}
	return all
}
