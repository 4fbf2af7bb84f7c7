package site

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/contract"
)

// The hospital, its codes and products are invented.
const tarnBridge = `hospital: Tarn Bridge General
time_zone: Europe/Dublin
store: kept
policy: policy.yaml
currency: €
confidentiality: For the committee alone
controlled_storage: [Theatre fridge, ICU]
interventions:
  - {date: 2025-09-01, name: Second}
  - {date: 2025-03-01, name: First}
limits: {rejected_share: 0.02, undetermined_share: 0.25}
mean_normal_s: {pt_s: [{from: 2025-01-01, value: 12.1}, {from: 2025-06-01, value: 12.4}]}
products:
  PLA1: {component: plasma, product: fresh_frozen, nominal_ml: 275, becomes: PLA1T}
  PLA1T: {component: plasma, product: thawed, nominal_ml: 275}
  BAT: {component: plasma, product: pathogen_reduced, nominal_ml: 200, batch: true}
  RC: {component: red_cells}
feeds:
  - table: issues
    files: inbox/bank_*.csv
    file_date: bank_(\d{4}-\d{2}-\d{2})
    time_format: [02/01/2006 15:04, 02/01/2006]
    delimiter: tab
    columns: {unit_no: DonationNo, product_code: Prod, patient_id: HospNo, issued_at: IssueTime, fate: Outcome, indication_raw: Reason}
    fate: {TX: transfused, RTN: Returned}
    indication: {High INR: raised_inr, "1": other}
  - table: labs
    files: /data/coag_*.csv
    test: {INR: inr, " FIBC ": fibrinogen}
    point_of_care: {Y: true, N: no}
    unit_raw: {sec: s}
    units: {pt_s: sec, fibrinogen: g/L}
    ignore: rest
  - table: medicines
    files: meds.csv
    ignore: [ASPIRIN, 17]
    sheet: 2
`

func write(t testing.TB, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "site.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestLoadTakesEveryKey(t *testing.T) {
	path := write(t, tarnBridge)
	s, err := Load(path)
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Dir(path)
	got := map[string]any{
		"hospital": s.Hospital, "zone": s.Zone.String(), "store": s.Store, "policy": s.Policy, "storage": s.ControlledStorage, "currency": s.Currency,
		"first": s.Interventions[0].Name, "limits": []float64{*s.Limits.RejectedShare, *s.Limits.UndeterminedShare}, "normal": s.MeanNormal["pt_s"][1].Value,
		"bag": s.BagCode(" pla1 "), "batch": s.Products["bat"].Batch, "files": s.Feeds[0].Files, "absolute": s.Feeds[1].Files, "line": s.Feeds[1].Line,
		"delimiter": s.Feeds[0].Delimiter, "formats": s.Feeds[0].TimeFormats, "fate": s.Feeds[0].Codes["fate"], "indication": s.Feeds[0].Codes["indication"],
		"test": s.Feeds[1].Codes["test"], "near": s.Feeds[1].Codes["point_of_care"], "units": s.Feeds[1].Units, "rest": s.Feeds[1].IgnoreRest, "ignore": s.Feeds[2].Ignore,
		"sheet": s.Feeds[2].Sheet, "columns": s.Feeds[1].Columns == nil, "header": s.Feeds[0].Columns["unit_no"],
	}
	want := map[string]any{
		"hospital": "Tarn Bridge General", "zone": "Europe/Dublin", "store": filepath.Join(dir, "kept"), "policy": filepath.Join(dir, "policy.yaml"), "storage": []string{"Theatre fridge", "ICU"}, "currency": "€",
		"first": "First", "limits": []float64{0.02, 0.25}, "normal": 12.4,
		"bag": "PLA1T", "batch": true, "files": filepath.Join(dir, "inbox", "bank_*.csv"), "absolute": "/data/coag_*.csv", "line": 27,
		"delimiter": "\t", "formats": []string{"02/01/2006 15:04", "02/01/2006"}, "fate": map[string]string{"tx": "transfused", "rtn": "returned"}, "indication": map[string]string{"high inr": "raised_inr", "1": "other"},
		"test": map[string]string{"inr": "inr", "fibc": "fibrinogen"}, "near": map[string]string{"y": "true", "n": "false"}, "units": map[string]string{"pt_s": "s", "fibrinogen": "g/L"}, "rest": true, "ignore": map[string]bool{"aspirin": true, "17": true},
		"sheet": "2", "columns": true, "header": "DonationNo",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("site (- want, + got):\n%s", diff)
	}
}

// TestABaselineIsASpanOfWholeMonths takes eight months or more, and says what else it
// found.
func TestABaselineIsASpanOfWholeMonths(t *testing.T) {
	for text, says := range map[string]string{
		"{from: 2025-01, to: 2025-08}":     "",
		"{from: 2025-01-01, to: 2025-12}":  `found "2025-01-01", wanted a month as 2025-01`,
		"{from: 2025-01, to: 2025-07}":     "found 2025-01 to 2025-07, wanted eight months or more",
		"{from: 2025-12, to: 2025-01}":     "in order",
		"{from: 2025-01}":                  "wanted both from and to",
		"{from: 2025-01, untill: 2025-12}": "untill",
		"2025":                             "baseline",
	} {
		s, err := Load(write(t, tarnBridge+"baseline: "+text+"\n"))
		switch {
		case says == "" && (err != nil || s.Baseline != Baseline{"2025-01", "2025-08"}):
			t.Errorf("%s: %v", text, err)
		case says != "" && (err == nil || !strings.Contains(err.Error(), says)):
			t.Errorf("%s: %v, wanted %q", text, err, says)
		}
	}
}

// TestEveryFaultHasItsPlace changes one thing of a good file and asks for the place and the
// words of the fault.
func TestEveryFaultHasItsPlace(t *testing.T) {
	for _, c := range []struct{ from, to, line, says string }{
		{"hospital:", "hospitl:", "1:1", "did you mean hospital?"},
		{"time_zone: Europe/Dublin", "time_zone: Europe/Doublin", "2:12", `found "Europe/Doublin", wanted an IANA name`},
		{"time_zone: Europe/Dublin", "time_zone: Local", "2:12", "IANA"},
		{"store: kept", "store: [kept]", "3:8", "found a list"},
		{"{rejected_share: 0.02", "{rejected_share: 2", "11:26", "a share from 0 to 1"},
		{"undetermined_share", "undetermined", "11:", "did you mean undetermined_share?"},
		{"date: 2025-03-01", "date: 01/03/2025", "10:", "wanted a day as 2025-07-01"},
		{"value: 12.4", "value: 1.24", "12:", "seconds, 5 to 300"},
		{"from: 2025-06-01", "from: 2024-06-01", "12:", "in order of date"},
		{"mean_normal_s: {pt_s", "mean_normal_s: {inr", "12:", `found "inr"`},
		{"nominal_ml: 275, becomes: PLA1T", "nominal_ml: 0, becomes: PLA1T", "14:", "mL of one bag"},
		{"becomes: PLA1T", "becomes: PLA2T", "14:3", "PLA2T, which is in no entry"},
		{"product: thawed, nominal_ml: 275", "product: thawed, becomes: pla1", "14:3", "circle"},
		{"component: plasma, product: thawed", "component: plasma", "15:3", "plasma without product"},
		{"component: red_cells", "component: red_cells, product: dried", "17:", "wanted none"},
		{"component: red_cells", "component: red_cell", "17:", "did you mean red_cells?"},
		{"RC: {component: red_cells}", "RC: {nominal_ml: 280}", "17:3", "found no component"},
		{"RC:", "pla1:", "17:3", "found twice"},
		{"table: issues", "table: isues", "19:12", "did you mean issues?"},
		{"  - table: medicines\n    files: meds.csv\n    ignore: [ASPIRIN, 17]\n", "  - files: meds.csv\n", "34:", "found no table"},
		{"files: meds.csv", "file: meds.csv", "35:5", "did you mean files?"},
		{"files: meds.csv", "files: 'meds[.csv'", "35:12", "pair up"},
		{`(\d{4}-\d{2}-\d{2})`, `\d{4}-\d{2}-\d{2}`, "21:16", "found 0 groups"},
		{`(\d{4}-\d{2}-\d{2})`, `(\d{4}-\d{2}-\d{2}`, "21:16", "regular expression that cannot be read"},
		{"[02/01/2006 15:04, 02/01/2006]", "dd/MM/yyyy HH:mm", "22:18", "2 January 2006"},
		{"[02/01/2006 15:04, 02/01/2006]", "02/01/2006 03:04", "22:18", "without PM"},
		{"[02/01/2006 15:04, 02/01/2006]", "[02/01/2006 15:04, 01/02/2006 15:04]", "22:37", "another day"},
		{"[02/01/2006 15:04, 02/01/2006]", "2006-02-01 15:04", "22:18", "year, day, month"},
		{"[02/01/2006 15:04, 02/01/2006]", "02/01/2006 15:04 MST", "22:18", "abbreviation"},
		{"sheet: 2", "sheet: [2]", "37:12", "its number from 1"},
		{"delimiter: tab", "delimiter: tab\n    decimal: both", "24:14", "wanted comma (1.250,5) or point"},
		{"delimiter: tab", "delimiter: tab\n    header_row: 0", "24:17", "wanted the number of the row"}, {"delimiter: tab", "delimiter: tab\n    header_row: first", "24:17", "wanted the number of the row"},
		{"delimiter: tab", "delimiter: colon", "23:16", "comma, semicolon, tab or pipe"},
		{"unit_no: DonationNo", "unit_number: DonationNo", "24:15", "did you mean unit_no?"},
		{"unit_no: DonationNo", "bag_code: DonationNo", "24:15", "no such column"},
		{"issued_at: IssueTime, ", "", "24:5", "issued_at or thawed_at or discarded_at"},
		{"patient_id: HospNo", "patient_id: Prod", "24:", "already product_code"},
		{"TX: transfused", "TX: transfusd", "25:", "did you mean transfused?"},
		{"RTN: Returned", "tx: returned", "25:", "different words"},
		{"fate: {TX", "component: {TX", "25:5", "in products:"},
		{"test: {INR: inr", "test: {INR: urea", "29:", `found "urea"`},
		{"sec: s}", "sec: furlong}", "31:", "wanted a unit such as"},
		{"fibrinogen: g/L", "fibrinogen: s", "32:", "mg/dL"},
		{"fibrinogen: g/L", "fibrinogn: g/L", "32:", "did you mean fibrinogen?"},
		{"ignore: [ASPIRIN, 17]", "ignore: {ASPIRIN: 17}", "36:", "or the word rest"},
		{"table: labs", "table: patients", "29:5", "unknown key of a feed of patients"},
		{"  - table: medicines", "  - table: aliases", "36:5", "never set aside"},
		{"ignore: [ASPIRIN, 17]", "encoding: latin", "36:15", "utf-8"},
		{"ignore: [ASPIRIN, 17]", "fields: {given: RXA-3}", "36:14", "no such column"},
		{"ignore: [ASPIRIN, 17]", "fields: {given_at: RXA3}", "36:24", "OBR-7"},
		{"ignore: [ASPIRIN, 17]", "fields: RXA-3", "36:13", "field of the message"},
		{"store: kept", "store: kept\nstore: other", "4:1", "not YAML"},
		{"feeds:", "feeds: [", "", "not YAML"},
	} {
		if strings.Count(tarnBridge, c.from) < 1 {
			t.Fatalf("the good file has no %q", c.from)
		}
		_, err := Load(write(t, strings.Replace(tarnBridge, c.from, c.to, 1)))
		var faults *Faults
		if !errors.As(err, &faults) {
			t.Errorf("%q for %q: error %v, want *Faults", c.to, c.from, err)
			continue
		}
		place := "site.yaml:" + c.line
		if text := err.Error(); !strings.Contains(text, place) || !strings.Contains(text, c.says) {
			t.Errorf("%q for %q: %s\nwant %s … %s", c.to, c.from, text, place, c.says)
		}
	}
}

// TestFaultsComeAtOnce: a person mends a file in one go.
func TestFaultsComeAtOnce(t *testing.T) {
	_, err := Load(write(t, "hospital: H\ntime_zone: Nowhere/Else\nlimts: {}\nproducts: {A: {component: plasma}}\nfeeds:\n  - {table: isues, files: a.csv}\n  - {table: labs, fils: b.csv}\n"))
	var faults *Faults
	if !errors.As(err, &faults) || len(faults.List) != 6 {
		t.Fatalf("faults:\n%v", err)
	}
	for i, f := range faults.List {
		if i > 0 && f.Line < faults.List[i-1].Line {
			t.Errorf("fault %d stands before the one above it", i)
		}
	}
	for _, text := range []string{"", "just words", "- a\n- list\n", "hospital: H\ntime_zone: UTC\nfeeds: []\n", "hospital: H\n---\nhospital: I\n"} {
		if _, err := Load(write(t, text)); !errors.As(err, &faults) {
			t.Errorf("%q: error %v, want *Faults", text, err)
		}
	}
	if _, err := Load(filepath.Join(t.TempDir(), "none.yaml")); !errors.As(err, &faults) || !strings.Contains(err.Error(), "none.yaml: cannot be read") {
		t.Errorf("no file: %v", err)
	}
}

func TestMapsMayBeShared(t *testing.T) {
	s, err := Load(write(t, `hospital: H
time_zone: UTC
feeds:
  - {table: issues, files: a.csv}
  - {table: labs, files: b.csv, test: &tests {FIBC: fibrinogen}}
  - {table: labs, files: c.csv, test: *tests}
`))
	if err != nil {
		t.Fatal(err)
	}
	if got := s.Feeds[2].Codes["test"]["fibc"]; got != "fibrinogen" {
		t.Errorf("the shared map gives %q", got)
	}
}

func TestDateOf(t *testing.T) {
	for pattern, names := range map[string]map[string]string{
		`bank_(\d{4}-\d{2}-\d{2})`: {"bank_2025-03-10.csv": "2025-03-10", "inbox/bank_2025-03-10.csv": "2025-03-10", "ward_2025-03-10.csv": "", "bank_2025-02-30.csv": "error"},
		`_(\d+)\.csv`:              {"bank_20250310.csv": "2025-03-10", "bank_5.csv": "error"},
		`_(\d{4}-\d{2})\.`:         {"bank_2024-02.csv": "2024-02-29", "bank_2025-12.csv": "2025-12-31", "bank_2025-13.csv": "error"},
	} {
		text := strings.Replace(tarnBridge, `bank_(\d{4}-\d{2}-\d{2})`, "'"+pattern+"'", 1)
		s, err := Load(write(t, text))
		if err != nil {
			t.Fatal(err)
		}
		for name, want := range names {
			got, err := s.Feeds[0].DateOf(name)
			if err != nil {
				got = "error"
			}
			if got != want {
				t.Errorf("%s in %s: %q, want %q", pattern, name, got, want)
			}
		}
	}
}

// A name with a month alone is of a file that was made on the day after it at the
// latest; any other date is a day.
func TestMadeBy(t *testing.T) {
	s, err := Load(write(t, strings.Replace(tarnBridge, `bank_(\d{4}-\d{2}-\d{2})`, `'bank_([\d-]+)\.'`, 1)))
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{"bank_2024-02.csv": "2024-03-01", "bank_2025-12.csv": "2026-01-01", "bank_2025-03-31.csv": "2025-03-31", "bank_20250331.csv": "2025-03-31", "ward.csv": "", "bank_5.csv": ""} {
		if got, _ := s.Feeds[0].MadeBy(name); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
}

// TestEffectiveTellsChangesApart: what changes the reading of a file changes its map, and what
// does not leaves it.
func TestEffectiveTellsChangesApart(t *testing.T) {
	of := func(text string) [3][]byte {
		s, err := Load(write(t, text))
		if err != nil {
			t.Fatal(err)
		}
		var all [3][]byte
		for i := range all {
			all[i] = s.Feeds[i].Effective(s)
		}
		return all
	}
	first := of(tarnBridge)
	for _, c := range []struct {
		from, to string
		changes  [3]bool
	}{
		{"Tarn Bridge", "Fell Bridge", [3]bool{}}, {"inbox/bank_*", "inbox/old_*", [3]bool{}}, {"rejected_share: 0.02", "rejected_share: 0.03", [3]bool{}},
		{"Europe/Dublin", "Europe/Paris", [3]bool{true, true, true}}, {"nominal_ml: 200", "nominal_ml: 210", [3]bool{true, false, false}}, {"value: 12.4", "value: 12.5", [3]bool{false, true, false}},
		{"TX: transfused", "TX: unknown", [3]bool{true, false, false}}, {"fibrinogen: g/L", "fibrinogen: mg/dL", [3]bool{false, true, false}}, {"[ASPIRIN, 17]", "[ASPIRIN]", [3]bool{false, false, true}},
		{"[02/01/2006 15:04, 02/01/2006]", "02/01/2006 15:04", [3]bool{true, false, false}}, {"delimiter: tab", "delimiter: comma", [3]bool{true, false, false}}, {"delimiter: tab", "delimiter: tab\n    decimal: comma", [3]bool{true, false, false}}, {"delimiter: tab", "delimiter: tab\n    header_row: 3", [3]bool{true, false, false}}, {"sheet: 2", "sheet: Meds", [3]bool{false, false, true}},
		{"policy: policy.yaml\n", "", [3]bool{}}, {"ignore: [ASPIRIN, 17]", "ignore: [ASPIRIN, 17]\n    patient_id_type: MR", [3]bool{false, false, true}},
		{"ignore: [ASPIRIN, 17]", "ignore: [ASPIRIN, 17]\n    patient_id_authority: TARN", [3]bool{false, false, true}}, {"ignore: [ASPIRIN, 17]", "ignore: [ASPIRIN, 17]\n    fields: {given_at: rxa-3.1}", [3]bool{false, false, true}},
	} {
		second := of(strings.Replace(tarnBridge, c.from, c.to, 1))
		for i := range first {
			if changed := !bytes.Equal(first[i], second[i]); changed != c.changes[i] {
				t.Errorf("%q for %q: feed %d changed: %v", c.to, c.from, i, changed)
			}
		}
	}
}

func TestUnitsAreOfTheContract(t *testing.T) {
	for _, units := range []map[string]string{contract.TestUnits, contract.MeasureUnits} {
		for analyte, unit := range units {
			if c, known := UnitOf(analyte, unit); !known || c != (Conversion{1, 1}) {
				t.Errorf("%s: the contract's unit %s converts by %v (known %v)", analyte, unit, c, known)
			}
		}
	}
	// Folding the case of units must not join two units of one analyte.
	for analyte, units := range unitTable {
		seen := map[string]Conversion{}
		for unit, c := range units {
			if other, twice := seen[foldUnit(unit)]; twice && other != c {
				t.Errorf("%s: %s and another unit differ by case alone", analyte, unit)
			}
			seen[foldUnit(unit)] = c
		}
	}
	if _, known := UnitOf("inr", "s"); known {
		t.Error("seconds are a unit of the INR")
	}
}

// FuzzLoad: any text gives a site or faults, never a panic.
func FuzzLoad(f *testing.F) {
	f.Add(tarnBridge)
	for _, text := range []string{"", "a: &a *a", "feeds: [*x]", "feeds: {}", "? {a: b}\n: c", "hospital: |\n  words\n", "a: !!binary x", "<<: *a", "feeds:\n  - &f {table: labs, files: *f}\n", "products: {~: {component: ~}}", ": :", "a: [", "time_zone: ../../etc"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := Load(write(t, text))
		var faults *Faults
		if err == nil && (s == nil || s.Zone == nil || len(s.Feeds) == 0) || err != nil && !errors.As(err, &faults) {
			t.Errorf("site %v, error %v", s, err)
		}
	})
}
