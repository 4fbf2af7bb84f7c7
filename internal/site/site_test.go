package site

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const good = `hospital: Nowhere General (invented)
time_zone: Europe/Dublin
store: store
feeds:
  - table: issues
    files: issues_*.csv
    file_date: issues_(\d{4}-\d{2}-\d{2})
    time_format: 02/01/2006 15:04
    columns: {unit_no: Unit, product_code: Code, issued_at: Issued, fate: Fate}
    fate: {TX: transfused}
  - table: labs
    files: labs.csv
    columns: {patient_id: P, test: T, value_raw: V, collected_at: C}
    test: {INR: inr}
    ignore: rest
products:
  F: {component: plasma, product: fresh_frozen, nominal_ml: 275, becomes: FT}
  FT: {component: plasma, product: thawed, nominal_ml: 275}
`

func load(t *testing.T, text string) (*Site, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "site.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return Load(path)
}

func TestLoad(t *testing.T) {
	s, err := load(t, good)
	if err != nil {
		t.Fatal(err)
	}
	if s.ZoneName != "Europe/Dublin" || len(s.Feeds) != 2 || !filepath.IsAbs(s.Store) {
		t.Errorf("site %+v", s)
	}
	if f := s.Feeds[0]; f.Codes["fate"]["tx"] != "transfused" || f.Columns["issued_at"] != "Issued" || len(f.TimeFormats) != 1 {
		t.Errorf("feed %+v", f)
	}
	if !s.Feeds[1].IgnoreRest || s.Products["f"].Becomes != "FT" {
		t.Errorf("feed %+v, products %+v", s.Feeds[1], s.Products)
	}
}

// TestFaultsNameTheirPlace: each fault of a site file is told with its line,
// what was found and what is wanted.
func TestFaultsNameTheirPlace(t *testing.T) {
	for _, c := range []struct {
		name, old, new string
		says           []string
	}{
		{"unknown key", "hospital:", "hospitle:", []string{":1:1:", "hospitle", "hospital"}},
		{"unknown key of a feed", "    files: labs.csv", "    file: labs.csv", []string{":12:", "file"}},
		{"unknown table", "table: labs", "table: labz", []string{":11:", "labz", "labs"}},
		{"unknown column", "value_raw: V", "valeu: V", []string{":13:", "valeu"}},
		{"a code outside the contract", "TX: transfused", "TX: given", []string{":10:", "given", "transfused"}},
		{"a pattern that is none", `issues_(\d{4}-\d{2}-\d{2})`, `issues_(\d{4`, []string{":7:", "file_date"}},
		{"a required column left out", "product_code: Code, ", "", []string{"product_code"}},
		{"an unknown zone", "Europe/Dublin", "Europe/Dubblin", []string{":2:", "Dubblin"}},
		{"codes that become each other", "product: thawed, nominal_ml: 275", "product: thawed, nominal_ml: 275, becomes: F", []string{"becomes"}},
		{"plasma of no kind", "component: plasma, product: thawed, ", "component: plasma, ", []string{":18:", "product"}},
		{"an unknown component", "component: plasma, product: thawed", "component: plasm, product: thawed", []string{":18:", "plasm"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(good, c.old, c.new, 1)
			if text == good {
				t.Fatal("the case changes nothing")
			}
			_, err := load(t, text)
			var faults *Faults
			if !errors.As(err, &faults) {
				t.Fatalf("error is %v, wanted faults", err)
			}
			for _, want := range append(c.says, "site.yaml") {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("the error does not say %q: %v", want, err)
				}
			}
		})
	}
}

func TestAllFaultsAtOnce(t *testing.T) {
	_, err := load(t, strings.NewReplacer("TX: transfused", "TX: given", "Europe/Dublin", "Nowhere").Replace(good))
	if err == nil || !strings.Contains(err.Error(), "given") || !strings.Contains(err.Error(), "Nowhere") {
		t.Errorf("error is %v", err)
	}
}

// TestEffectiveFollowsTheMap: the part of a reading's name that the map makes
// changes with the map, and with nothing else.
func TestEffectiveFollowsTheMap(t *testing.T) {
	a, err := load(t, good)
	if err != nil {
		t.Fatal(err)
	}
	b, err := load(t, "# a comment\n"+strings.Replace(good, "hospital: Nowhere", "hospital: Elsewhere", 1))
	if err != nil {
		t.Fatal(err)
	}
	if string(a.Feeds[0].Effective(a)) != string(b.Feeds[0].Effective(b)) {
		t.Error("a comment or the hospital's name changes the map")
	}
	for _, change := range [][2]string{{"TX: transfused", "TX: presumed"}, {"Europe/Dublin", "Europe/London"}, {"15:04", "15.04"}, {"nominal_ml: 275, becomes", "nominal_ml: 250, becomes"}} {
		c, err := load(t, strings.Replace(good, change[0], change[1], 1))
		if err != nil {
			t.Fatal(err)
		}
		if string(a.Feeds[0].Effective(a)) == string(c.Feeds[0].Effective(c)) {
			t.Errorf("%s for %s does not change the map", change[1], change[0])
		}
	}
}
