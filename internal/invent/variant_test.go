package invent

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/internal/policy"
	"thawline/internal/site"
)

// otherHospitals are those over which make test-cross holds the program against
// the second computation, besides the demonstration's. Between them they differ
// from it in patients, feeds, products, clock, and in every value of the policy
// that decides how a fact is read.
var otherHospitals = []struct {
	name    string
	seed    uint64
	options Options
}{
	{"children", 11, Options{Months: 10, Beds: 150, Scale: 2, Labs: 20_000, Children: true, Careless: true, Zone: "Australia/Adelaide",
		End: time.Date(2026, time.April, 1, 0, 0, 0, 0, time.UTC),
		Policy: `# Invented.
bleeding_recorded_in: [events, indication]
concentrate_stocked: no
fibrinogen_source_stocked: yes
presumed_is_transfused: no
adult_from_years: 18
child_dose_low: [{value: 10}, {from: 2025-11-15, value: 12}]
over_bleeding: [{value: 1.5}, {from: 2026-01-01, value: 1.8}]
full_dose_units: [{value: none}, {from: 2026-02-01, value: 4}]
viscoelastic_over: 90
red_cell_units: 2
use_point_of_care: no
`}},
	{"no events", 23, Options{Months: 14, Beds: 700, Labs: 60_000, NoEvents: true, Batches: true, Careless: true, Zone: "America/St_Johns",
		End: time.Date(2026, time.July, 1, 0, 0, 0, 0, time.UTC),
		Policy: `# Invented.
bleeding_recorded_in: indication
weight_basis: adjusted
dose_low: [{value: 10}, {from: 2025-10-26, value: 12}]
dose_high: [{value: 20}, {from: 2025-10-26, value: 15}]
dose_tolerance: [{value: 0.5}, {from: 2026-03-08, value: 0}]
concentrate_stocked: [{value: not stated}, {from: 2026-01-01, value: yes}]
fibrinogen_under_bleeding: [{value: 1.5}, {from: 2026-04-01, value: 2.0}]
episode_gap_h: 12
before_h: 12
after_h: 6
default_unit_ml: 275
assumed_infusion_min: 40
decides_h: [{value: 6}, {from: 2026-02-01, value: 3}]
hb_fall_g_l: 30
`}},
}

// TestOtherHospitals writes them, and finds in their exports what each is for.
// With THAWLINE_HOSPITALS it writes them there and leaves them.
func TestOtherHospitals(t *testing.T) {
	for _, h := range otherHospitals {
		t.Run(h.name, func(t *testing.T) {
			dir := t.TempDir()
			if into := os.Getenv("THAWLINE_HOSPITALS"); into != "" {
				dir = filepath.Join(into, strings.ReplaceAll(h.name, " ", "-"))
			}
			truth, err := Write(dir, h.seed, h.options)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := site.Load(filepath.Join(dir, "site.yaml")); err != nil {
				t.Fatal(err)
			}
			p, err := policy.Load(filepath.Join(dir, "policy.yaml"))
			if err != nil {
				t.Fatal(err)
			}
			if n := len(p.Periods()); n < 3 {
				t.Errorf("%d periods of the policy", n)
			}
			for _, e := range truth.Episodes {
				if e.Mark != "" || e.Complete {
					t.Fatal("a truth of the demonstration's ways is stated for another hospital")
				}
			}
			files := func(pattern string) (all []map[string]string) {
				names, _ := filepath.Glob(filepath.Join(dir, "inbox", pattern))
				for _, name := range names {
					all = append(all, rows(t, name)...)
				}
				return all
			}
			count := func(rows []map[string]string, is func(map[string]string) bool) (n int) {
				for _, row := range rows {
					if is(row) {
						n++
					}
				}
				return n
			}
			merges, bank, register := files("merges_*"), files("bank_*"), files("register_*")
			chained := count(merges, func(row map[string]string) bool { return strings.HasPrefix(row["NewNo"], "M") })
			if len(merges) < 20 || chained < 10 {
				t.Errorf("%d merged numbers, %d of them merged again", len(merges), chained)
			}
			if n := count(register, func(row map[string]string) bool { return row["Born"] == "" }); n < 10 {
				t.Errorf("%d patients without a birth date", n)
			}
			if n := count(files("obs_*"), func(row map[string]string) bool { return len(row["Taken"]) == len("2006-01-02") }); n < 10 {
				t.Errorf("%d weights told as a date alone", n)
			}
			events := len(files("clin_*")) + len(files("theatre_*"))
			batches := count(bank, func(row map[string]string) bool { return row["Prod"] == pooled.code })
			unnumbered := count(bank, func(row map[string]string) bool { return row["Prod"] == pooled.code && row["BagNo"] == "" })
			if h.options.NoEvents != (events == 0) || h.options.Batches != (batches > 100 && unnumbered > 20) {
				t.Errorf("%d events, %d bags of batches, %d of them without a number", events, batches, unnumbered)
			}
			young := 0
			for _, born := range truth.Episodes {
				for _, row := range register {
					if row["HospNo"] == born.PatientID && row["Born"] > born.FirstIssuedAt.AddDate(-16, 0, 0).Format(time.DateOnly) {
						young++
						break
					}
				}
			}
			if share := float64(young) / float64(len(truth.Episodes)); h.options.Children != (share > 0.5) {
				t.Errorf("%.2f of the episodes are of children", share)
			}
		})
	}
}

// TestSizes: so many episodes in each month, so many places, a last month
// without plasma; and none of it changes the other months' truths.
func TestSizes(t *testing.T) {
	monthly := func(truth Truth) map[string]int {
		n := map[string]int{}
		for _, e := range truth.Episodes {
			n[e.FirstIssuedAt.Format("2006-01")]++
			if e.Complete && e.Mark == "" {
				t.Errorf("%s states no mark", e.Scenario)
			}
		}
		return n
	}
	places := func(dir string) map[string]bool {
		named := map[string]bool{}
		names, _ := filepath.Glob(filepath.Join(dir, "inbox", "bank_*"))
		for _, name := range names {
			for _, row := range rows(t, name) {
				if component(row["Prod"]) == "plasma" && row["HospNo"] != "" {
					named[row["Place"]] = true
				}
			}
		}
		return named
	}
	_, tiny := write(t, 1, Options{Months: 24, Beds: 40, Episodes: 9, Labs: 2400})
	found := monthly(tiny)
	if len(found) != 24 {
		t.Errorf("%d months with episodes, wanted 24", len(found))
	}
	for month, n := range found {
		if n != 9 {
			t.Errorf("%d episodes began in %s, wanted 9", n, month)
		}
	}
	dir, _ := write(t, 1, Options{Months: 6, Scale: 3, Places: 40, Labs: 600})
	// Some scenarios have a place of their own besides.
	if named := places(dir); len(named) < 40 || len(named) > 45 {
		t.Errorf("plasma at %d places, wanted about 40", len(named))
	}
	if few := placesOf(3); len(few) != 3 || few[0] != wards[0] {
		t.Errorf("of three places there are %v", few)
	}
	dir, unused := write(t, 1, Options{Months: 3, NoPlasmaAtEnd: true, Labs: 600})
	_, used := write(t, 1, Options{Months: 3, Labs: 600})
	if got, want := monthly(unused), monthly(used); got["2026-10"] != 0 || got["2026-09"] != want["2026-09"] || want["2026-10"] == 0 {
		t.Errorf("episodes by month: %v, and %v where plasma is used to the end", got, want)
	}
	red := 0
	for _, row := range rows(t, filepath.Join(dir, "inbox", "bank_2026-11-04.csv")) {
		switch issued, _ := time.Parse(slashed, row["Issued"]); {
		case row["Prod"] == "RC28" && issued.Month() == time.October:
			red++
		case component(row["Prod"]) == "plasma" && (strings.Contains(row["Issued"]+row["Thawed"]+row["Binned"], "/10/2026")):
			t.Errorf("a bag of plasma in the month without: %v", row)
		}
	}
	if red < 50 {
		t.Errorf("%d red cells in the month without plasma: it must be a month that was recorded", red)
	}
	for _, wrong := range []Options{{Episodes: -1}, {Places: -1}} {
		if _, err := Write(t.TempDir(), 1, wrong); err == nil {
			t.Errorf("%+v was taken", wrong)
		}
	}
}
