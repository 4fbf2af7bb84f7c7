package policy

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/internal/contract"
)

func write(t *testing.T, name, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func load(t *testing.T, content string) *Policy {
	t.Helper()
	p, err := Load(write(t, "policy.yaml", content))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// The limits and doses that a reviewer would look up first, each with its
// published source; none of them is read from the file under test.
// TestChangesAreThoseOfADate lists each value that a date changes, and no other.
func TestChangesAreThoseOfADate(t *testing.T) {
	p := load(t, "over_bleeding:\n  - {from: 2025-07-01, value: 1.8}\n  - {from: 2026-01-01, value: 1.6}\ndose_low: [{value: 11}, {from: 2026-01-01, value: 12}]\nviscoelastic_over: [{from: 2026-01-01, value: 80}]\ndose_high: [{from: 2026-01-01, value: 20}]\n")
	var all []string
	for _, c := range p.Changes() {
		all = append(all, fmt.Sprintf("%s %s %v %v", c.From.Format("2006-01-02"), c.Name, c.Was, c.Is))
	}
	want := []string{"2025-07-01 over_bleeding 1.5 1.8", "2026-01-01 dose_low 11 12", "2026-01-01 over_bleeding 1.8 1.6", "2026-01-01 viscoelastic_over <nil> 80"}
	if !slices.Equal(all, want) {
		t.Errorf("%q, wanted %q", all, want)
	}
	if Default().Changes() != nil {
		t.Error("the defaults change")
	}
}

func TestDefaultsAgreeWithTheirSources(t *testing.T) {
	p := Default()
	for _, c := range []struct {
		column string
		want   float64
		source string
	}{
		{"over_bleeding", 1.5, "NICE NG24 2015"},
		{"over_procedure", 1.8, "ANZSBT Choosing Wisely"},
		{"over_liver_procedure", 2.0, "NHSBT factsheet 2021"},
		{"fibrinogen_under_bleeding", 1.5, "NICE NG24 2015"},
		{"fibrinogen_under_procedure", 1.0, "NICE NG24 2015"},
		{"hb_fall_g_l", 20, "Schulman and Kearon 2005"},
		{"massive_red_cell_units", 10, "PROPPR registry entry"},
		{"expected_inr_slope", 0.37, "Holland and Brooks 2006"},
		{"expected_inr_offset", 0.47, "Holland and Brooks 2006"},
		{"response_from_inr", 1.7, "Holland and Brooks 2006"},
		{"thawed_life_h", 24, "US reference pages"},
		{"thawed_life_h_thawed", 120, "US reference pages"},
		{"run_length", 8, "Western Electric 1956"},
		{"weight_before_d_newborn", 3, "common practice"},
	} {
		if got, ok := p.Number(c.column); !ok || got != c.want {
			t.Errorf("%s: got %v, want %v (%s)", c.column, got, c.want, c.source)
		}
	}
	if _, ok := p.Number("unit_cost"); ok {
		t.Error("unit_cost: want none, no source gives a price")
	}
}

func TestDefaultsAreComplete(t *testing.T) {
	for _, d := range definitions {
		if d.Source == "" {
			t.Errorf("%s has no source", d.name)
		}
		if strings.Contains(d.Source, "from memory") {
			t.Errorf("%s: packs print its source, which nobody read: %q", d.name, d.Source)
		}
		if (d.Kind == number || d.Kind == count) && (len(d.Range) != 2 || d.Range[0] >= d.Range[1] || d.Unit == "") {
			t.Errorf("%s: unit or range missing", d.name)
		}
		if (d.Kind == word || d.Kind == words) && len(d.Words) == 0 {
			t.Errorf("%s: no words", d.name)
		}
	}
	if n := len(definitions); n != 61 {
		t.Errorf("found %d values, want 61", n)
	}
}

func TestRowsFitColumns(t *testing.T) {
	p := load(t, "over_bleeding:\n  - {from: 2025-07-01, value: 1.8}\n  - {from: 2026-01-01, value: 1.6}\n")
	rows, columns := p.Rows(), p.Columns()
	if len(rows) != 3 {
		t.Fatalf("got %d periods, want 3", len(rows))
	}
	day := func(s string) time.Time { d, _ := time.Parse(time.DateOnly, s); return d }
	over := slices.IndexFunc(columns, func(c contract.Column) bool { return c.Name == "over_bleeding" })
	last := len(columns) - 1
	for i, want := range []struct {
		from, until any
		over        float64
	}{{nil, day("2025-07-01"), 1.5}, {day("2025-07-01"), day("2026-01-01"), 1.8}, {day("2026-01-01"), nil, 1.6}} {
		row := rows[i]
		if len(row) != len(columns) {
			t.Fatalf("row %d has %d cells, want %d", i, len(row), len(columns))
		}
		if row[0] != int64(i+1) || row[1] != want.from || row[2] != want.until || row[over] != want.over {
			t.Errorf("row %d: got %v %v %v %v, want %v", i, row[0], row[1], row[2], row[over], want)
		}
		for j, c := range columns {
			if c.Required && row[j] == nil {
				t.Errorf("row %d: %s is null", i, c.Name)
			}
		}
		if i > 0 && row[last] == rows[i-1][last] {
			t.Error("two periods share a hash")
		}
	}
}

func TestHashIsOfValuesAlone(t *testing.T) {
	hash := func(p *Policy) string { return p.Periods()[0].Hash }
	base := hash(Default())
	if len(base) != 16 || strings.Trim(base, "0123456789abcdef") != "" {
		t.Errorf("hash %q is not 16 hex digits", base)
	}
	if got := hash(load(t, "over_bleeding: {value: 1.5, source: our committee}")); got != base {
		t.Error("a source alone changed the hash")
	}
	for _, content := range []string{"over_bleeding: 1.6", "concentrate_stocked: yes", "weight_after_d: {child: 4}",
		"weight_for_age: [{under_years: 16, low_kg: 0.3, high_kg: 250}, {low_kg: 20, high_kg: 400}]"} {
		if hash(load(t, content)) == base {
			t.Errorf("%s did not change the hash", content)
		}
	}
}

func TestLoadTakesEveryForm(t *testing.T) {
	p := load(t, `# a site's own
over_bleeding: {value: 1.8, unit: ratio, source: our committee 2025, approved: {by: transfusion committee, on: 2025-06-12}}
presumed_is_transfused: no
concentrate_stocked: yes
fibrinogen_source_stocked: "no"
bleeding_recorded_in: [indication, events]
thawed_life_h:
  - {value: {thawed: 96}}
  - {from: 2025-07-01, value: {default: 12}}
viscoelastic_over: 80
full_dose_units: none
weight_before_d: {child: 20}
`)
	periods := p.Periods()
	if len(periods) != 2 {
		t.Fatalf("got %d periods, want 2", len(periods))
	}
	for column, want := range map[string]any{
		"over_bleeding": 1.8, "presumed_is_transfused": false, "concentrate_stocked": "yes", "fibrinogen_source_stocked": "no",
		"bleeding_recorded_in": "events indication", "thawed_life_h": 12.0, "thawed_life_h_thawed": 96.0,
		"viscoelastic_over": 80.0, "full_dose_units": nil, "weight_before_d_child": 20.0, "weight_before_d_adult": 90.0,
	} {
		if got := periods[1].Values[column]; got != want {
			t.Errorf("%s: got %v, want %v", column, got, want)
		}
	}
	if periods[0].Values["thawed_life_h"] != 24.0 {
		t.Error("thawed_life_h changed before its date")
	}
	i := slices.IndexFunc(p.Values(), func(v Value) bool { return v.Name == "over_bleeding" })
	if v := p.Values()[i]; v.Default || v.Text != "1.8" || v.DefaultText != "1.5" || v.Source != "our committee 2025" || v.Approved != "transfusion committee" || v.ApprovedOn.Format(time.DateOnly) != "2025-06-12" {
		t.Errorf("over_bleeding for the pack: %+v", v)
	}
	var texts []string
	for _, v := range p.Values() {
		if v.Name == "thawed_life_h" {
			texts = append(texts, v.Text)
		}
	}
	if want := []string{"24, thawed 96", "12, thawed 96"}; !slices.Equal(texts, want) {
		t.Errorf("thawed_life_h for the pack: got %q, want %q", texts, want)
	}
}

func TestEmptyFileIsTheDefaults(t *testing.T) {
	for _, content := range []string{"", "# nothing differs here\n"} {
		if got, want := load(t, content).Periods()[0].Hash, Default().Periods()[0].Hash; got != want {
			t.Errorf("%q: got %s, want %s", content, got, want)
		}
	}
}

func TestLoadReportsAllFaultsWithTheirPlaces(t *testing.T) {
	_, err := Load(write(t, "policy.yaml", `over_bleding: 1.5
over_bleeding: 9
over_procedure: high
dose_low: {value: 10, unit: mg/kg}
episode_gap_h: {value: 6, from: 2025-07-01}
before_h: [{from: 2025-07-01, value: 12}]
decides_h: [{from: 2026-01-01, value: 4}, {from: 2025-01-01, value: 5}]
weight_before_d_adult: 80
red_cell_units: 2.5
thawed_life_h: {frozen: 3}
over_liver_procedure: {value: 2, sauce: us}
unit_cost:
weight_for_age: [{under_years: 16, low_kg: 9, high_kg: 3}, {low_kg: 20, high_kg: 400}]
vka_d: "7"
`))
	var faults *Faults
	if !errors.As(err, &faults) {
		t.Fatalf("got %v, want faults", err)
	}
	for _, want := range []string{
		`policy.yaml:1:1: over_bleding: unknown name; did you mean over_bleeding?`,
		`policy.yaml:2:16: over_bleeding: found 9, wanted a number from 1 to 5 ratio`,
		`policy.yaml:3:17: over_procedure: found "high", wanted a number`,
		`policy.yaml:4:29: dose_low: unit: found "mg/kg", wanted mL/kg`,
		`policy.yaml:5:27: episode_gap_h: found a date, but this value holds for the whole store`,
		`policy.yaml:6:13: before_h: found a date`,
		`policy.yaml:7:`,
		`policy.yaml:8:1: weight_before_d_adult: unknown name; it is a part of weight_before_d, write weight_before_d: {adult: ...}`,
		`policy.yaml:9:17: red_cell_units: found 2.5, wanted a whole number`,
		`policy.yaml:10:17: thawed_life_h: frozen: unknown name; wanted one of`,
		`policy.yaml:11:34: over_liver_procedure: sauce: unknown name; did you mean source?`,
		`policy.yaml:12:`,
		`policy.yaml:13:`,
		`policy.yaml:14:8: vka_d: found "7", wanted a number`,
	} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("missing %q in\n%v", want, err)
		}
	}
	if len(faults.List) != 15 {
		t.Errorf("got %d faults, want 15 (two on line 10):\n%v", len(faults.List), err)
	}
}

func TestLoadRefuses(t *testing.T) {
	for name, c := range map[string]struct{ content, want string }{
		"twice":            {"dose_low: 10\ndose_low: 12\n", "policy.yaml:2:"},
		"not YAML":         {"dose_low: [1\n", "not YAML"},
		"list":             {"- dose_low\n", "wanted lines of name: value"},
		"band upside down": {"dose_high: 12\ndose_low: 15\n", "policy.yaml:2:11: dose_low: found 15, wanted it under dose_high"},
		"not a number":     {"dose_low: .nan\n", "policy.yaml:1:"},
		"word":             {"weight_basis: lean\n", "wanted one of actual, adjusted, ideal"},
		"words":            {"bleeding_recorded_in: [events, notes]\n", "wanted one or more of events, indication"},
		"approved":         {"dose_low: {value: 12, approved: {by: us}}\n", "wanted both by and on"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Load(write(t, "policy.yaml", c.content))
			var faults *Faults
			if !errors.As(err, &faults) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want %q", err, c.want)
			}
		})
	}
}

func TestSet(t *testing.T) {
	p := Default()
	for _, set := range [][2]string{{"concentrate_stocked", "yes"}, {"fibrinogen_source_stocked", "not stated"}, {"presumed_is_transfused", "no"},
		{"viscoelastic_over", "none"}, {"weight_before_d_adult", "80"}, {"bleeding_recorded_in", "events indication"}} {
		if err := p.Set(set[0], set[1]); err != nil {
			t.Error(err)
		}
	}
	values := p.Periods()[0].Values
	if values["concentrate_stocked"] != "yes" || values["presumed_is_transfused"] != false || values["weight_before_d_adult"] != 80.0 {
		t.Errorf("got %v", values)
	}
	for _, set := range [][2]string{{"dose_low", "25"}, {"dose_lwo", "12"}, {"over_bleeding", "NaN"}, {"dose_low", "none"}} {
		if err := p.Set(set[0], set[1]); err == nil {
			t.Errorf("%v was taken", set)
		}
	}
	if n, _ := p.Number("dose_low"); n != 10 {
		t.Error("a refused value stayed")
	}
}
