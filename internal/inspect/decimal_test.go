package inspect

import (
	"strings"
	"testing"
)

// The mark of decimals is proposed from any number of the whole file that can be
// read in one way alone, and left to a person where there is none.
func TestDecimals(t *testing.T) {
	labs := func(values ...string) string {
		var b strings.Builder
		b.WriteString("Patient ID;Test;Result;Unit;Collected at\n")
		for _, v := range values {
			b.WriteString("P1;FIB;" + v + ";g/L;2026-03-04T10:05\n")
		}
		return b.String()
	}
	for _, c := range []struct {
		what, text, decimal string
		says                []string
	}{
		{"a comma proven far down", labs("1,900", "2,100", "1.250", "3", "2,3"), "comma", []string{"decimal: comma", "proven at labs.csv:6", "1 cells such as 9.999 are then thousands, first labs.csv:4"}},
		{"proven by a leading nought", labs("1,900", "0,900"), "comma", []string{"proven at labs.csv:3"}},
		{"proven by thousands", labs("1,900", "1.250,5"), "comma", []string{"proven at labs.csv:3"}},
		{"with a flag", labs("1,900", "2,3 *"), "comma", []string{"proven at labs.csv:3"}},
		{"ambiguous alone", labs("1,900", "2,100", "41,500"), "", []string{"# decimal: ?", "3 cells such as 9,999 (first labs.csv:2)", "? decimal: "}},
		{"a point proven, thousands by comma", labs("1.9", "1,250"), "point", []string{"proven at labs.csv:2", "1 cells such as 9,999 are then thousands, first labs.csv:3"}},
		{"points alone", labs("1.9", "2.1"), "", nil},
		{"three decimals with a point", labs("1.900", "2.100"), "", []string{"could part thousands", "read as decimals"}},
		{"both", labs("1,9", "2.1", "1,900"), "", []string{"1 numbers have a comma", "and 1 a point"}},
		{"thousands parted by a space", labs("1 250", "850"), "", []string{"# decimal: ?", "1 cells such as 9 999 (first labs.csv:2)"}},
		{"whole numbers", labs("1", "2"), "", nil},
	} {
		found := look(t, "labs.csv", c.text)
		f, text := found.Feeds[0], everything(found)
		if f.Decimal != c.decimal || f.Table != "labs" || len(c.says) == 0 && strings.Contains(text, "decimal") {
			t.Errorf("%s: %q (table %q), want %q\n%s", c.what, f.Decimal, f.Table, c.decimal, text)
		}
		wantAll(t, text, c.says...)
	}
	counts := "Month;Measure;Count\n2026-10;Admissions;1.214\n2026-10;Bed days;7.802\n2026-10;Operations;604\n"
	wantAll(t, everything(look(t, "activity.csv", counts)), "# decimal: ?", "2 cells such as 9.999 (first activity.csv:2)", "not read until you state")
}
