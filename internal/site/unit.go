package site

import (
	"regexp"
	"slices"
	"strings"
)

// Conversion brings a value into the contract's unit: value × Times / Over.
// Two numbers, so that 150 mg/dL is 150 / 100 = 1.5 g/L and not 150 × 0.01.
type Conversion struct{ Times, Over float64 }

// unitTable lists the units that each analyte can have. Names are UCUM codes
// and their common printed forms. Factors: SI prefixes; fibrinogen 340 kDa;
// haemoglobin monomer 16,114 g/mol; pound 0.45359237 kg, stone 14 pounds and
// inch 2.54 cm exactly.
var unitTable = map[string]map[string]Conversion{
	"inr":          number("{INR}", "INR", "{ratio}", "ratio"),
	"pt_ratio":     number("{ratio}", "ratio"),
	"aptt_ratio":   number("{ratio}", "ratio"),
	"pt_s":         {"s": {1, 1}, "ms": {1, 1000}},
	"aptt_s":       {"s": {1, 1}, "ms": {1, 1000}},
	"viscoelastic": {"s": {1, 1}, "ms": {1, 1000}, "min": {60, 1}},
	"fibrinogen":   {"g/L": {1, 1}, "mg/mL": {1, 1}, "mg/dL": {1, 100}, "mg/L": {1, 1000}, "g/dL": {10, 1}, "umol/L": {0.34, 1}},
	"hb":           {"g/L": {1, 1}, "g/dL": {10, 1}, "mg/dL": {1, 100}, "mmol/L": {16.114, 1}},
	"platelets": {"10*9/L": {1, 1}, "10^9/L": {1, 1}, "10*3/uL": {1, 1}, "10^3/uL": {1, 1}, "/nL": {1, 1}, "G/L": {1, 1},
		"10*6/L": {1, 1000}, "10^6/L": {1, 1000}, "/uL": {1, 1000}},
	"hct":    {"1": {1, 1}, "%": {1, 100}, "L/L": {1, 1}},
	"weight": {"kg": {1, 1}, "g": {1, 1000}, "lb": {0.45359237, 1}, "[lb_av]": {0.45359237, 1}, "stone": {6.35029318, 1}, "[stone_av]": {6.35029318, 1}},
	"height": {"cm": {1, 1}, "m": {100, 1}, "mm": {1, 10}, "in": {2.54, 1}, "[in_i]": {2.54, 1}},
}

func number(more ...string) map[string]Conversion {
	units := map[string]Conversion{"1": {1, 1}}
	for _, m := range more {
		units[m] = Conversion{1, 1}
	}
	return units
}

// unitIndex is unitTable by the form in which units are compared.
var unitIndex = func() map[string]map[string]Conversion {
	index := map[string]map[string]Conversion{}
	for analyte, units := range unitTable {
		index[analyte] = map[string]Conversion{}
		for unit, c := range units {
			index[analyte][foldUnit(unit)] = c
		}
	}
	return index
}()

// foldUnit lowers a unit, writes micro as u and takes out annotations, which
// mean nothing and alone stand for 1 (UCUM, section 12). Within one analyte no
// two units differ by case alone, and laboratories write mg/dl and MG/DL.
func foldUnit(unit string) string {
	folded := micro.Replace(fold(unit))
	if strings.IndexByte(folded, '{') < 0 {
		return folded
	}
	plain := annotation.ReplaceAllString(folded, "")
	if plain == "" {
		return "1"
	}
	return plain
}

var annotation = regexp.MustCompile(`\{[^{}]*\}`)

// micro writes the two signs of micro, U+00B5 and U+03BC, as u.
var micro = strings.NewReplacer("µ", "u", "μ", "u")

// UnitOf returns how a unit of a test or of a kind of measure is converted, and
// whether it can be that analyte's unit at all. Outer spaces and case do not count.
func UnitOf(analyte, unit string) (Conversion, bool) {
	c, known := unitIndex[analyte][foldUnit(unit)]
	return c, known
}

// UnitNames lists the units that an analyte can have, sorted.
func UnitNames(analyte string) []string {
	var names []string
	for name := range unitTable[analyte] {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// KnownUnit reports whether a unit is that of any test or kind of measure.
func KnownUnit(unit string) bool {
	for analyte := range unitIndex {
		if _, known := UnitOf(analyte, unit); known {
			return true
		}
	}
	return false
}
