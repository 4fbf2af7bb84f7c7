package pack

import (
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thawline/internal/policy"
	"thawline/queries"
)

// TestSensitivityNamesEveryValueTried: the figure's answer and its sentence name
// the values one by one, so they must be those that are tried.
func TestSensitivityNamesEveryValueTried(t *testing.T) {
	others, err := policy.OtherValues()
	if err != nil {
		t.Fatal(err)
	}
	query, err := queries.FS.ReadFile("figures/sensitivity.sql")
	if err != nil {
		t.Fatal(err)
	}
	d, _, err := panels(nil)
	if err != nil {
		t.Fatal(err)
	}
	says := ""
	for _, s := range d.Sections {
		for _, p := range s.Panels {
			if p.Figure == "sensitivity" {
				says = p.Says
			}
		}
	}
	for _, other := range others {
		if code := (triedValue{OtherValue: other}).code(); !strings.Contains(string(query), "'"+code+"'") {
			t.Errorf("sensitivity.sql does not answer %s", code)
		}
		if number := strconv.FormatFloat(other.Setting, 'f', -1, 64); !strings.Contains(says, number) {
			t.Errorf("the sentence of the panel does not name %s (%s)", number, other.Column)
		}
	}
	if n := strings.Count(string(query), "FILTER (points.tried = "); n != len(others) {
		t.Errorf("sensitivity.sql answers %d values, %d are tried", n, len(others))
	}
}

func TestTriedValuesStandInOrder(t *testing.T) {
	codes := func(p *policy.Policy) []string {
		all, err := tried(p)
		if err != nil {
			t.Fatal(err)
		}
		var list []string
		for _, v := range all {
			code := v.code()
			if v.own || v.dated {
				code += " own"
			}
			list = append(list, code)
		}
		return list
	}
	dated := filepath.Join(t.TempDir(), "policy.yaml")
	if err := os.WriteFile(dated, []byte("dose_low: [{value: 10}, {from: 2026-01-01, value: 12}]\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	p, err := policy.Load(dated)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := codes(p)[:4], []string{"dose_low=dated own", "dose_low=10", "dose_low=12", "dose_low=15"}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	p = policy.Default()
	if got, want := codes(p), []string{"dose_low=10 own", "dose_low=12", "dose_low=15", "over_bleeding=1.5 own", "over_bleeding=1.8", "over_bleeding=2"}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	for _, set := range [][2]string{{"dose_high", "14"}, {"dose_low", "13"}, {"over_bleeding", "2.5"}} {
		if err := p.Set(set[0], set[1]); err != nil {
			t.Fatal(err)
		}
	}
	if got, want := codes(p), []string{"dose_low=10", "dose_low=12", "dose_low=13 own", "over_bleeding=1.5", "over_bleeding=1.8", "over_bleeding=2", "over_bleeding=2.5 own"}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}
