package inspect

import (
	"context"
	"fmt"
	"strings"
	"testing"
)

// local is a laboratory's export of local words (invented): header is that of the
// tests' column.
func local(header string) string {
	var b strings.Builder
	b.WriteString("Pat-Nr;" + header + ";Ergebnis;Einheit;Entnahme;Status\n")
	add := func(i int, test, value, unit, status string) {
		fmt.Fprintf(&b, "%07d;%s;%s;%s;%02d.10.2026 08:%02d;%s\n", 4711*(i%40+1), test, value, unit, i%28+1, i%60, status)
	}
	for i := range 60 {
		add(i, "QINR", "1,2", "", "E")
		add(i, "FIBC", "2,4", []string{"g/l", "mg/dl"}[i%2], "E")
		add(i, "HB", "9,8", "g/dl", "E")
		add(i, "PLT", "120", []string{"/nl", "Mrd/l", "T/nl"}[i%3], "E")
		add(i, "PTTS", "31,5", []string{"sec", "Sek"}[i%2], "E")
		add(i, "LEUK", "5,1", "/nl", "E")
	}
	add(1, "QINR", "3,1", "", "K")
	add(2, "QINR", "1,3", "", "S")
	for i := range 6 {
		add(i, "QINR", "geronnen", "", "E")
		add(i, "QINR", "n. bestimmbar", "", "E")
		add(i, "QINR", "folgt", "", "E")
	}
	add(3, "QINR", "ungerinnbar", "", "E")
	add(4, "QINR", "Frau Nobody informiert", "", "E")
	return b.String()
}

// A column of tests is known by what it holds, whatever it is called.
func TestTestsByTheirContent(t *testing.T) {
	for _, header := range []string{"Analyt", "Kenngröße", "Zxqv"} {
		found := look(t, "export.csv", local(header))
		f, text := found.Feeds[0], everything(found)
		if f.Table != "labs" {
			t.Fatalf("%s: taken for %q\n%s", header, f.Table, text)
		}
		wantAll(t, text, "test: "+header, "FIBC: fibrinogen", "understood as they are: HB", "PLT: platelets", "# QINR: ?", "# LEUK: ?")
	}
	weights := "Pat-Nr;Zxqv;Wert;Einheit;Zeitpunkt\n" + strings.Repeat("0004711;Gewicht;77,3;kg;13.10.2026 06:53\n0004712;Größe;189;cm;14.10.2026 06:57\n", 10)
	if f := look(t, "export.csv", weights).Feeds[0]; f.Table != "measures" {
		t.Errorf("weights are taken for %q", f.Table)
	}
}

// A rare status is the one that matters, and what it costs not to map it is said.
func TestRareStatus(t *testing.T) {
	wantAll(t, everything(look(t, "export.csv", local("Analyt"))), "# K: ?", "# S: ?", "# E: ?", "a corrected result that is not mapped loses to a final one")
	// A column that only looks like a status is held to the rule of all others.
	if text := everything(look(t, "export.csv", strings.Replace(local("Analyt"), ";Status\n", ";Xyz\n", 1))); strings.Contains(text, "# K: ?") {
		t.Errorf("a rare text of an unknown column is shown\n%s", text)
	}
}

// Spellings of units are proposed, and of a test's units those alone are named as
// strange that are.
func TestLocalUnits(t *testing.T) {
	text := everything(look(t, "export.csv", local("Analyt")))
	wantAll(t, text, "sec: s", "Sek: s", `Mrd/l: "10*9/L"`, `T/nl: "10*9/L"`, "check: by its letters it is a thousand times more", "in /nl, Mrd/l, T/nl")
	if strings.Contains(text, "does not have") {
		t.Errorf("units that are read right are called strange\n%s", text)
	}
	text = everything(look(t, "export.csv", strings.ReplaceAll(local("Analyt"), ";HB;9,8;g/dl", ";HB;9,8;kg")))
	wantAll(t, text, "# HB: ?", "in kg, which hb does not have")
	mixed := strings.Replace(local("Analyt"), ";HB;9,8;g/dl", ";HB;9,8;kg", 2)
	wantAll(t, everything(look(t, "export.csv", mixed)), "HB (60 rows, in g/dl; 2 rows in kg, which hb does not have)")
}

// Words in place of numbers are proposed under no_value where they are plain, and
// asked for where many share them; one that may tell of a person is not shown.
func TestWordsForNoValue(t *testing.T) {
	text := everything(look(t, "export.csv", local("Analyt")))
	wantAll(t, text, "    no_value:", "geronnen: clotted", "ungerinnbar: unclottable", "folgt: pending", "# n. bestimmbar: ?", "and codes that are not shown, since they are rare or may name a person: 1 rows")
	if strings.Contains(text, "Nobody") {
		t.Errorf("a remark is shown\n%s", text)
	}
	if text := everything(look(t, "export.csv", strings.ReplaceAll(local("Analyt"), "folgt", "pending"))); !strings.Contains(text, "no_value: understood as they are: pending (6 rows)") {
		t.Errorf("a word known without a map is asked for\n%s", text)
	}
}

// Of files that are taken for no table the common codes are listed all the same.
func TestCodesOfAnUndecidedTable(t *testing.T) {
	text := strings.ReplaceAll(local("Zxqv"), ";Entnahme;", ";Abc;")
	found := look(t, "export.csv", text)
	if f := found.Feeds[0]; f.Table != "" {
		t.Fatalf("taken for %s", f.Table)
	}
	seen := everything(found)
	wantAll(t, seen, "holds QINR (82 rows), FIBC (60 rows), HB (60 rows), LEUK (60 rows)")
	if strings.Contains(seen, "Nobody") || strings.Contains(seen, "0004711") {
		t.Errorf("a cell is shown\n%s", seen)
	}
	// Words need a person's word for it.
	worded := strings.NewReplacer(";FIBC;", ";Eiweiss in Urin;", ";HB;", ";Stix;", ";PLT;", ";Sediment;", ";PTTS;", ";Zellen;").Replace(text)
	if strings.Contains(everything(look(t, "export.csv", worded)), "Eiweiss") {
		t.Error("words that may be a name are shown")
	}
	vouched, err := Files(context.Background(), write(t, "export.csv", worded), Options{Vouched: []string{"Zxqv"}})
	if err != nil {
		t.Fatal(err)
	}
	wantAll(t, everything(vouched), "Eiweiss in Urin (60 rows)")
}

// A rare product is asked for too, though it is not shown.
func TestRareProductsAreTold(t *testing.T) {
	files := obvious(1)
	files[1] += "G123426999999;QZ7;Thing;100;T0000001;05/01/2026 10:15;Returned;Line\n"
	text := everything(look(t, files...))
	wantAll(t, text, "# and codes that are not shown, since they are rare or may name a person: 1 rows; inspect --site names them")
	if strings.Contains(text, "QZ7") {
		t.Error("a code of one patient is shown")
	}
}
