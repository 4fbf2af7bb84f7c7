package invent

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"thawline/internal/contract"
	"thawline/internal/policy"
	"thawline/internal/site"
)

// rows reads an export; each row by the names of the header.
func rows(t *testing.T, path string) []map[string]string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(bytes.NewReader(text))
	header, _, _ := bytes.Cut(text, []byte("\n"))
	for _, delimiter := range ";|" {
		if bytes.ContainsRune(header, delimiter) {
			r.Comma = delimiter
		}
	}
	all, err := r.ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", filepath.Base(path), err)
	}
	var out []map[string]string
	for _, cells := range all[1:] {
		row := map[string]string{}
		for i, name := range all[0] {
			row[name] = cells[i]
		}
		out = append(out, row)
	}
	return out
}

func write(t *testing.T, seed uint64, o Options) (string, Truth) {
	t.Helper()
	dir := t.TempDir()
	truth, err := Write(dir, seed, o)
	if err != nil {
		t.Fatal(err)
	}
	return dir, truth
}

// twoYears writes the demonstration once for the tests that only read it.
var twoYears = sync.OnceValue(func() (d struct {
	dir   string
	truth Truth
	err   error
}) {
	if d.dir, d.err = os.MkdirTemp("", "thawline-invent-"); d.err == nil {
		d.truth, d.err = Write(d.dir, 1, Options{})
	}
	return d
})

func TestMain(m *testing.M) {
	code := m.Run()
	if d := twoYears(); d.dir != "" {
		os.RemoveAll(d.dir)
	}
	os.Exit(code)
}

func demonstration(t *testing.T) (string, Truth) {
	t.Helper()
	d := twoYears()
	if d.err != nil {
		t.Fatal(d.err)
	}
	return d.dir, d.truth
}

// The check character of this number is printed as H in the public description
// of the standard donation number (from memory).
func TestCheckCharacter(t *testing.T) {
	if got := checkCharacter("G123498654321"); got != 'H' {
		t.Errorf("check character %c, wanted H", got)
	}
	// By the definition of MOD 37-2 itself: the weighted sum is 1 modulo 37.
	const alphabet = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
	for _, number := range []string{"Z040726000001", "Z040725999999", "A000000000000"} {
		full, sum := number+string(checkCharacter(number)), 0
		for i := range len(full) {
			power := 1
			for range len(full) - 1 - i {
				power = power * 2 % 37
			}
			sum += strings.IndexByte(alphabet, full[i]) * power
		}
		if sum%37 != 1 {
			t.Errorf("%s: sum %d modulo 37, wanted 1", full, sum%37)
		}
	}
}

func TestSameSeedSameBytes(t *testing.T) {
	first, _ := write(t, 7, Options{Months: 13})
	second, _ := write(t, 7, Options{Months: 13})
	other, _ := write(t, 8, Options{Months: 13})
	names, _ := filepath.Glob(filepath.Join(first, "inbox", "*.csv"))
	if len(names) < 13*6 {
		t.Fatalf("%d files", len(names))
	}
	differ := 0
	for _, name := range append(names, filepath.Join(first, "site.yaml"), filepath.Join(first, "policy.yaml"), filepath.Join(first, "truth.csv")) {
		relative, _ := filepath.Rel(first, name)
		a, _ := os.ReadFile(name)
		b, err := os.ReadFile(filepath.Join(second, relative))
		if err != nil || !bytes.Equal(a, b) {
			t.Errorf("%s differs between two runs of one seed", relative)
		}
		if c, _ := os.ReadFile(filepath.Join(other, relative)); !bytes.Equal(a, c) {
			differ++
		}
	}
	if differ < 13*5 {
		t.Errorf("another seed changes only %d files", differ)
	}
}

func TestEveryMonthHasItsFiles(t *testing.T) {
	dir, truth := demonstration(t)
	if truth.Missing != "2025-07" || truth.Teaching.Format(time.DateOnly) != "2025-11-12" {
		t.Errorf("missing %q, teaching %s", truth.Missing, truth.Teaching)
	}
	made := time.Date(2024, time.December, 4, 0, 0, 0, 0, time.UTC)
	for m := range 24 {
		date := made.AddDate(0, m, 0).Format(time.DateOnly)
		for _, kind := range []string{"bank", "ward", "results", "clin", "theatre", "meds", "obs", "register"} {
			_, err := os.Stat(filepath.Join(dir, "inbox", kind+"_"+date+".csv"))
			if want := !(kind == "clin" && date == "2025-08-04"); (err == nil) != want {
				t.Errorf("%s_%s.csv: there %v, wanted %v", kind, date, err == nil, want)
			}
		}
	}
	var size int64
	for _, name := range truth.Files {
		info, err := os.Stat(filepath.Join(dir, "inbox", name))
		if err != nil {
			t.Fatal(err)
		}
		size += info.Size()
	}
	if size > 20<<20 {
		t.Errorf("%d bytes of exports, wanted at most 20 MB", size)
	}
	episodes := len(truth.Episodes)
	if episodes < 24*38 || episodes > 24*55 {
		t.Errorf("%d episodes, wanted about 45 a month", episodes)
	}
}

// TestRegisterByMonth: each export of the register tells who is new or told
// otherwise, all of them together every patient; and a merge is told once.
func TestRegisterByMonth(t *testing.T) {
	dir, truth := demonstration(t)
	inbox := func(pattern string) (names []string) {
		names, err := filepath.Glob(filepath.Join(dir, "inbox", pattern))
		if err != nil || len(names) == 0 {
			t.Fatalf("%s: %d files, %v", pattern, len(names), err)
		}
		return names
	}
	last, changed := map[string]map[string]string{}, 0
	for _, name := range inbox("register_*.csv") {
		for _, row := range rows(t, name) {
			if before := last[row["HospNo"]]; before != nil {
				changed++
				if before["Group"] != "" || row["Group"] == "" || before["Born"] != row["Born"] {
					t.Errorf("%s: a row comes again without a change", filepath.Base(name))
				}
			}
			last[row["HospNo"]] = row
		}
	}
	for _, e := range truth.Episodes {
		if row := last[e.PatientID]; row == nil || row["Group"] == "" {
			t.Errorf("the register does not know the patient of an episode of %s, or not the group", e.Scenario)
		}
	}
	if changed < 10 {
		t.Errorf("%d rows of the register changed", changed)
	}
	told, late := map[string]bool{}, 0
	for _, name := range inbox("merges_*.csv") {
		for _, row := range rows(t, name) {
			if told[row["OldNo"]] {
				t.Errorf("%s: a merge is told again", filepath.Base(name))
			}
			told[row["OldNo"]] = true
		}
	}
	for _, name := range inbox("bank_*.csv") {
		_, day, _ := strings.Cut(filepath.Base(name), "_")
		made := map[string]bool{}
		if text, err := os.ReadFile(filepath.Join(dir, "inbox", "merges_"+day)); err == nil {
			for _, line := range strings.Fields(string(text)) {
				number, _, _ := strings.Cut(line, ",")
				made[number] = true
			}
		}
		for _, row := range rows(t, name) {
			if number := row["HospNo"]; told[number] && !made[number] {
				late++
			} else if strings.HasPrefix(number, "E") && !told[number] {
				t.Errorf("%s: an emergency number is never merged", filepath.Base(name))
			}
		}
	}
	if late == 0 {
		t.Error("every merge is told with the issues to its number")
	}
}

func TestTruthIsOneRowAnEpisode(t *testing.T) {
	for name, months := range map[string]int{"two years": 24, "a month": 1} {
		dir, truth := write(t, 1, Options{Months: months})
		seen := map[string]bool{}
		marks := map[string]int{}
		table := rows(t, filepath.Join(dir, "truth.csv"))
		if len(table) != len(truth.Episodes) {
			t.Errorf("%s: truth.csv has %d rows, %d episodes", name, len(table), len(truth.Episodes))
		}
		for _, row := range table {
			key := row["patient_id"] + "|" + row["first_issued_at"]
			if seen[key] {
				t.Errorf("%s: two truths of one episode, scenario %s", name, row["scenario"])
			}
			seen[key] = true
			marks[row["mark"]]++
			for column, of := range map[string]string{"mark": "mark", "dose_band": "dose_band", "basis": "basis", "coagulopathy": "coagulopathy"} {
				if c := contract.Episodes.Column(of); row[column] != "" && !c.IsCode(row[column]) {
					t.Errorf("%s: %s of %s is %q, which is no word of the contract", name, column, row["scenario"], row[column])
				}
			}
			if row["complete"] == "no" && row["mark"] != "undetermined" {
				t.Errorf("%s: %s lacks an input but has mark %s", name, row["scenario"], row["mark"])
			}
		}
		for _, mark := range []string{"appropriate", "under-dosed", "non-bleeding", "unsupported", "undetermined", "set-apart", "wasted", "returned"} {
			if marks[mark] == 0 {
				t.Errorf("%s: no episode is %s", name, mark)
			}
		}
	}
}

func TestEveryScenarioIsPlanted(t *testing.T) {
	_, truth := demonstration(t)
	found := map[string]int{}
	for _, e := range truth.Episodes {
		found[e.Scenario]++
	}
	for _, s := range scenarios {
		if found[s.name] == 0 {
			t.Errorf("scenario %s is never planted", s.name)
		}
	}
	if found["clock_back_second_pass"] != 2 || found["clock_back_first_pass"] != 2 {
		t.Errorf("the clock goes back in October 2025 and 2026: %d and %d episodes", found["clock_back_second_pass"], found["clock_back_first_pass"])
	}
}

// TestTimesKeepOrder holds thaw ≤ issue ≤ start ≤ end, what was asked before
// what was issued, and nothing after the day of the export.
func TestTimesKeepOrder(t *testing.T) {
	w, err := newWorld(1, Options{}.filled())
	if err != nil {
		t.Fatal(err)
	}
	w.live()
	last := w.months[len(w.months)-1].AddDate(0, 0, 4)
	issued := map[string]*issue{}
	for _, u := range w.issues {
		if u.issued.IsZero() {
			continue
		}
		if issued[u.unit] != nil {
			t.Errorf("a donation number was issued twice")
		}
		issued[u.unit] = u
		for name, late := range map[string]bool{
			"thaw after issue": u.thawed.After(u.issued), "request after issue": u.requested.After(u.issued),
			"return before issue": !u.back.IsZero() && u.back.Before(u.issued), "discard before issue": !u.binned.IsZero() && u.binned.Before(u.issued),
			"discard after the last export": u.binned.After(last),
		} {
			if late {
				t.Errorf("%s of %s", name, u.code)
			}
		}
	}
	for _, b := range w.bedside {
		u := issued[b.unit]
		if u == nil || u.shown != b.patient {
			t.Errorf("a ward's record without an issue to its patient")
			continue
		}
		if b.start.Before(u.issued) || b.start.Sub(u.issued) > 24*time.Hour || !b.end.After(b.start) || b.end.After(last) {
			t.Errorf("issue, start, end out of order: %s, %s, %s", u.issued, b.start, b.end)
		}
	}
	for _, r := range w.results {
		if r.resulted.Before(r.collected) || r.resulted.After(last) {
			t.Errorf("a result of %s before its sample or after the last export", r.test)
		}
	}
}

func TestGapLosesOnlyItsMonth(t *testing.T) {
	dir, _ := demonstration(t)
	names, _ := filepath.Glob(filepath.Join(dir, "inbox", "clin_*.csv"))
	months := map[string]int{}
	for _, name := range names {
		for _, row := range rows(t, name) {
			if row["Type"] == "BLEED" && len(row["When"]) >= 7 {
				months[row["When"][:7]]++
			}
		}
	}
	if months["2025-07"] != 0 {
		t.Errorf("%d rows of bleeding in the month that is missing", months["2025-07"])
	}
	for m := range 24 {
		month := time.Date(2024, time.November+time.Month(m), 1, 0, 0, 0, 0, time.UTC).Format("2006-01")
		if month != "2025-07" && months[month] < 20 {
			t.Errorf("%s: %d rows of bleeding", month, months[month])
		}
	}
}

// TestTeachingChangesTheHabit compares the share of indicated bleeds under dose
// before and after the session: the planted change must be large enough to see.
func TestTeachingChangesTheHabit(t *testing.T) {
	_, truth := demonstration(t)
	var below, all [2]float64
	for _, e := range truth.Episodes {
		if e.Scenario != "bleeding_raised" {
			continue
		}
		n := 0
		if e.FirstIssuedAt.After(truth.Teaching) {
			n = 1
		}
		all[n]++
		if e.DoseBand == "below" {
			below[n]++
		}
	}
	before, after := below[0]/all[0], below[1]/all[1]
	if before < 0.5 || after > 0.35 {
		t.Errorf("share below the band %.2f before, %.2f after", before, after)
	}
}

// TestNoWallTimeIsSkipped: only damaged rows may hold a time that no clock
// showed.
func TestNoWallTimeIsSkipped(t *testing.T) {
	dir, _ := demonstration(t)
	zone, _ := time.LoadLocation("Europe/Dublin")
	names, _ := filepath.Glob(filepath.Join(dir, "inbox", "bank_*.csv"))
	read := 0
	for _, name := range names {
		for _, row := range rows(t, name) {
			at, err := time.ParseInLocation(slashed, row["Issued"], zone)
			if err != nil {
				continue
			}
			read++
			if at.Format(slashed) != row["Issued"] {
				t.Errorf("%s: a time that no clock showed", filepath.Base(name))
			}
		}
	}
	if read < 5000 {
		t.Fatalf("%d times read", read)
	}
}

func TestOverlapCorrectsAFate(t *testing.T) {
	dir, truth := demonstration(t)
	wanted := map[string]bool{}
	for _, e := range truth.Episodes {
		if e.Scenario == "fate_corrected" && e.FirstIssuedAt.Before(time.Date(2026, time.October, 1, 0, 0, 0, 0, time.UTC)) {
			wanted[e.FirstUnit] = true
		}
	}
	told := map[string][]string{}
	names, _ := filepath.Glob(filepath.Join(dir, "inbox", "bank_*.csv"))
	slices.Sort(names)
	for _, name := range names {
		for _, row := range rows(t, name) {
			number := row["DonationNo"]
			if len(number) > 13 {
				number = number[:13]
			}
			if wanted[number] {
				told[number] = append(told[number], row["Outcome"])
			}
		}
	}
	if len(wanted) == 0 || len(told) != len(wanted) {
		t.Fatalf("%d corrected units planted, %d found", len(wanted), len(told))
	}
	for _, outcomes := range told {
		if !slices.Equal(outcomes, []string{"RT", "TX"}) {
			t.Errorf("outcomes told in turn: %v, wanted RT, then TX", outcomes)
		}
	}
}

func TestPolicyLoads(t *testing.T) {
	dir, _ := write(t, 1, Options{Months: 1})
	if _, err := policy.Load(filepath.Join(dir, "policy.yaml")); err != nil {
		t.Error(err)
	}
}

func TestSiteLoadsAndFindsEveryFile(t *testing.T) {
	dir, truth := demonstration(t)
	s, err := site.Load(filepath.Join(dir, "site.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(s.Hospital, "(invented)") || len(s.Interventions) != 1 || !s.Interventions[0].Date.Equal(time.Date(2025, time.November, 12, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("hospital %q, interventions %v", s.Hospital, s.Interventions)
	}
	for code, p := range s.Products {
		if want := productOf(strings.ToUpper(code)); p.Component != want.component || p.NominalML != float64(want.ml) {
			t.Errorf("product %s reads as %v", code, p)
		}
	}
	taken := map[string]int{}
	for _, feed := range s.Feeds {
		names, err := filepath.Glob(feed.Files)
		if err != nil || len(names) == 0 {
			t.Errorf("feed of %s on line %d finds no file (%v)", feed.Table.Name, feed.Line, err)
		}
		for _, name := range names {
			base := filepath.Base(name)
			taken[base]++
			if m := feed.FileDate.FindStringSubmatch(base); len(m) != 2 {
				t.Errorf("%s: no date found in its name", base)
			}
			header := rows(t, name)[0]
			for column, local := range feed.Columns {
				if _, there := header[local]; !there {
					t.Errorf("%s: no column %s for %s", base, local, column)
				}
			}
		}
	}
	for _, name := range truth.Files {
		if taken[name] != 1 {
			t.Errorf("%s is taken by %d feeds, wanted one", name, taken[name])
		}
	}
}

func TestSmall(t *testing.T) {
	truth, err := Small(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if n := len(truth.Episodes); n < 40 || n > 100 {
		t.Errorf("%d episodes", n)
	}
}

func TestScaleAndLabs(t *testing.T) {
	dir, truth := write(t, 1, Options{Months: 1, Scale: 3, Labs: 1000})
	if n := len(truth.Episodes); n < 150 {
		t.Errorf("%d episodes at scale 3", n)
	}
	lines := 0
	for _, row := range rows(t, filepath.Join(dir, "inbox", "results_2026-11-04.csv")) {
		if row["Test"] == "NA" {
			lines++
		}
	}
	if lines == 0 || lines > 1000 {
		t.Errorf("%d rows of sodium among 1000", lines)
	}
	if _, err := Write(t.TempDir(), 1, Options{Months: -1}); err == nil {
		t.Error("a negative number of months was taken")
	}
}
