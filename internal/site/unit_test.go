package site

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// Every unit converts as the reference implementation of UCUM converts it, and
// what that refuses is no unit of the analyte.
func TestUnitsAgainstUCUM(t *testing.T) {
	text, err := os.ReadFile("testdata/ucum.tsv")
	if err != nil {
		t.Fatal(err)
	}
	asked := map[string]map[string]bool{}
	for _, line := range strings.Split(strings.TrimSpace(string(text)), "\n") {
		if strings.HasPrefix(line, "#") {
			continue
		}
		f := strings.Split(line, "\t")
		if len(f) != 6 {
			t.Fatalf("%q: %d columns", line, len(f))
		}
		analyte, unit := f[0], f[1]
		c, known := UnitOf(analyte, unit)
		if f[5] == "refused" {
			if known {
				t.Errorf("%s in %s: converts by %v, and UCUM refuses it", analyte, unit, c)
			}
			continue
		}
		if asked[analyte] == nil {
			asked[analyte] = map[string]bool{}
		}
		asked[analyte][unit] = true
		value, err1 := strconv.ParseFloat(f[3], 64)
		want, err2 := strconv.ParseFloat(f[5], 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("%q: no numbers", line)
		}
		if got := value * c.Times / c.Over; !known || math.Abs(got-want) > 1e-9*math.Max(1, want) {
			t.Errorf("%s: %g %s is %g, and %g by UCUM (known %v)", analyte, value, unit, got, want, known)
		}
	}
	for analyte, units := range unitTable {
		for unit := range units {
			if !asked[analyte][unit] {
				t.Errorf("%s in %s: not asked of UCUM", analyte, unit)
			}
		}
	}
}

// An annotation in braces means nothing (UCUM, section 12); alone it is 1.
func TestAnnotations(t *testing.T) {
	for _, c := range []struct {
		analyte, unit string
		known         bool
	}{
		{"platelets", "10*3{PLT}/uL", true}, {"hb", "g{Hb}/dL", true}, {"inr", "{INR}", true}, {"inr", "{INR'unit}", true}, {"hct", "{fraction}", true}, {"hct", "%{vol}", true},
		{"pt_s", "{s}", false}, {"pt_s", "s{PT}", true}, {"fibrinogen", "g{/L", false}, {"fibrinogen", "", false}, {"weight", "{}", false},
	} {
		if _, known := UnitOf(c.analyte, c.unit); known != c.known {
			t.Errorf("%s in %q: known %v", c.analyte, c.unit, known)
		}
	}
}
