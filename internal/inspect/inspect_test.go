package inspect

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thawline/internal/site"
)

// Headers as blood banks and laboratories of several countries may write them
// (invented), and the columns of the contract that they mean.
func TestHeadersAreUnderstood(t *testing.T) {
	for _, c := range []struct{ table, header, column string }{
		{"issues", "DonationNo", "unit_no"}, {"issues", "DONATION_NUMBER", "unit_no"}, {"issues", "Konservennummer", "unit_no"}, {"issues", "N° don", "unit_no"},
		{"issues", "Hospital Number", "patient_id"}, {"issues", "MRN", "patient_id"}, {"issues", "Patienten-ID", "patient_id"}, {"issues", "Fallnummer", "patient_id"},
		{"issues", "ProductCode", "product_code"}, {"issues", "Produktcode", "product_code"}, {"issues", "code produit", "product_code"},
		{"issues", "IssueDateTime", "issued_at"}, {"issues", "Ausgabedatum", "issued_at"}, {"issues", "Date de délivrance", "issued_at"}, {"issues", "Fecha de salida", "issued_at"},
		{"issues", "Thaw time", "thawed_at"}, {"issues", "Auftauzeit", "thawed_at"}, {"issues", "Returned", "returned_at"}, {"issues", "Discarded at", "discarded_at"},
		{"issues", "Outcome", "fate"}, {"issues", "Verbleib", "fate"}, {"issues", "Discard reason", "discard_reason_raw"}, {"issues", "Blutgruppe", "unit_abo"},
		{"labs", "TestCode", "test"}, {"labs", "Untersuchung", "test"}, {"labs", "Ergebnis", "value_raw"}, {"labs", "Résultat", "value_raw"}, {"labs", "Uitslag", "value_raw"},
		{"labs", "Einheit", "unit_raw"}, {"labs", "UNITS", "unit_raw"}, {"labs", "Entnahmezeit", "collected_at"}, {"labs", "Collection Date/Time", "collected_at"}, {"labs", "Reported", "resulted_at"},
		{"labs", "Analyt", "test"}, {"labs", "Kenngröße", "test"}, {"labs", "Laborwert", "test"}, {"labs", "Onderzoek", "test"}, {"labs", "Paramètre", "test"}, {"labs", "Determinación", "test"},
		{"labs", "Storno", "status"}, {"labs", "Geannuleerd", "status"}, {"labs", "Statuscode", "status"}, {"events", "storniert", "status"}, {"issues", "Annulé", "status"}, {"measures", "Anulado", "status"}, {"labs", "Befundzeit", "resulted_at"},
		{"measures", "Merkmal", "kind"}, {"activity", "Kennzahl", "measure"},
		{"labs", "Accession no", ""}, {"labs", "Ward", ""},
		{"patients", "DOB", "birth_date"}, {"patients", "Geburtsdatum", "birth_date"}, {"patients", "Geschlecht", "sex"},
		{"medicines", "Drug", "medicine"}, {"aliases", "Old number", "alias"}, {"activity", "Monat", "month"},
	} {
		best, score := "", 0.5
		for _, column := range []string{"unit_no", "patient_id", "product_code", "issued_at", "thawed_at", "returned_at", "discarded_at", "fate", "discard_reason_raw", "unit_abo",
			"test", "value_raw", "unit_raw", "collected_at", "resulted_at", "birth_date", "sex", "medicine", "alias", "month", "status", "kind", "measure"} {
			if s := named(tokens(c.header), c.header, c.table, column); s > score {
				best, score = column, s
			}
		}
		if best != c.column {
			t.Errorf("%s: %q means %q, wanted %q (%v)", c.table, c.header, best, c.column, tokens(c.header))
		}
	}
}

// obvious are exports of plain names and words (invented).
func obvious(months int) []string {
	r := rand.New(rand.NewPCG(7, 7))
	var files []string
	for m := range months {
		var issues, labs strings.Builder
		issues.WriteString("Donation number;Product code;Component;Volume;Patient ID;Issued at;Outcome;Reason\n")
		labs.WriteString("Patient ID,Test,Result,Unit,Collected at\n")
		for i := range 300 {
			day, hour := r.IntN(28)+1, r.IntN(24)
			product := [][3]string{{"FP1", "Fresh frozen plasma", "275"}, {"RC1", "Red cells", "280"}, {"XX9", "Autologous", "300"}}[r.IntN(3)]
			fmt.Fprintf(&issues, "G1234%02d%06d;%s;%s;%s;T%07d;%02d/%02d/2026 %02d:15;%s;%s\n", 26, m*1000+i, product[0], product[1], product[2], r.IntN(60)*7919, day, m+1, hour,
				[]string{"Transfused", "Returned", "Discarded", "QX"}[r.IntN(4)], []string{"Bleeding", "Pre-op", "Gut bleed", "Line"}[r.IntN(4)])
			test := [][3]string{{"INR", "1,2", ""}, {"FIB", "2,4", "g/L"}, {"HGB", "9,8", "g/dL"}, {"ZZT", "4", "mmol/L"}, {"PLT", "120", ""}}[r.IntN(5)]
			fmt.Fprintf(&labs, "T%07d,%s,\"%s\",%s,2026-%02d-%02dT%02d:05\n", r.IntN(60)*7919, test[0], test[1], test[2], m+1, day, hour)
		}
		files = append(files, fmt.Sprintf("bank_2026-%02d-28.csv", m+1), issues.String(), fmt.Sprintf("coag_2026-%02d-28.csv", m+1), labs.String())
	}
	return files
}

// TestObviousExportsNeedLittle: what has plain names and words gives a site.yaml
// that loads once hospital and zone are stated, and says what is left.
func TestObviousExportsNeedLittle(t *testing.T) {
	paths := write(t, obvious(2)...)
	found, err := Files(context.Background(), paths, Options{})
	if err != nil {
		t.Fatal(err)
	}
	text := found.Proposal(Site{"Nowhere (invented)", "Europe/Dublin"})
	path := filepath.Join(t.TempDir(), "site.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := site.Load(path)
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	if len(s.Feeds) != 2 {
		t.Fatalf("%d feeds\n%s", len(s.Feeds), text)
	}
	issues, labs := s.Feeds[0], s.Feeds[1]
	for name, want := range map[string]string{"unit_no": "Donation number", "product_code": "Product code", "volume_ml": "Volume", "patient_id": "Patient ID", "issued_at": "Issued at", "fate": "Outcome", "indication_raw": "Reason"} {
		if issues.Columns[name] != want {
			t.Errorf("issues.%s is %q, wanted %q", name, issues.Columns[name], want)
		}
	}
	for name, want := range map[string]string{"patient_id": "Patient ID", "test": "Test", "value_raw": "Result", "unit_raw": "Unit", "collected_at": "Collected at"} {
		if labs.Columns[name] != want {
			t.Errorf("labs.%s is %q, wanted %q", name, labs.Columns[name], want)
		}
	}
	if got := fmt.Sprint(issues.TimeFormats, labs.TimeFormats, labs.Codes["test"], issues.Codes["indication"]); got != "[02/01/2006 15:04] [] map[fib:fibrinogen hgb:hb plt:platelets] map[pre-op:procedure]" {
		t.Errorf("formats and codes: %s", got)
	}
	if p, known := s.FindProduct("FP1"); !known || p.Product != "fresh_frozen" || p.NominalML != 275 {
		t.Errorf("product %+v", p)
	}
	if m, _ := filepath.Match(issues.Files, paths[0]); !m || issues.FileDate == nil {
		t.Errorf("files %s, date %v", issues.Files, issues.FileDate)
	}
	wantAll(t, text, "# QX: ?", "# Gut bleed: ?", "# ZZT: ?", "# XX9: {component: ?, nominal_ml: 300}", "#   platelets: ?")
	wantAll(t, strings.Join(found.Lines(), "\n"), "numbers, decimal comma", "proven at bank_2026-01-28.csv:")
}

func TestBadInputIsTold(t *testing.T) {
	paths := write(t, "empty.csv", "", "header.csv", "Patient,Test,Result,Collected\n", "binary.dat", "\x01\x02\x00\x00\x03\xff\xfe\x00garbage",
		"rows.csv", "T1234567,INR,2026-03-04\nT1234568,INR,2026-03-05\n", "rows2.csv", "Murphy,INR,x\nMurphy,INR,y\nDoyle,INR,x\nDoyle,INR,x\n", "quote.csv", "a;b\n\"1;2\n")
	dir := filepath.Dir(paths[0])
	paths = append(paths, dir, filepath.Join(dir, "none.csv"))
	found, err := Files(context.Background(), paths, Options{})
	if err != nil {
		t.Fatal(err)
	}
	said := strings.Join(found.Lines(), "\n")
	wantAll(t, said, "empty.csv: not read: found nothing in it", "binary.dat: not read: ", "rows.csv: not read: "+noHeader, "rows2.csv: not read: "+noHeader,
		"quote.csv: not read: row 2: a quote opens", "found a folder", "none.csv: not read: no such file", "missing: no file was taken for issues")
	for _, secret := range []string{"T1234567", "Murphy", "Doyle"} {
		if strings.Contains(everything(found), secret) {
			t.Errorf("a cell is shown: %s", secret)
		}
	}
}

// Text of another encoding, and a header with two delimiters, are read as site.yaml
// must state them.
func TestWhatSiteMustState(t *testing.T) {
	western := "Patienten-ID;Untersuchung;Ergebnis;Einheit;Entnahmezeit;Bemerkung\n" + strings.Repeat("P1;INR;1,2;;13.04.2026 14:10;gr\xfc\xdfe\n", 6)
	found := look(t, "labor.csv", western)
	if f := found.Feeds[0]; f.Encoding != "windows-1252" || f.Delimiter != "" || f.Table != "labs" {
		t.Errorf("%+v\n%s", f, everything(found))
	}
	mixed := "Patient, hospital number;Test;Result;Collected at\n" + strings.Repeat("P1;INR;1.2;2026-03-04T10:00\n", 6)
	if f := look(t, "labs.csv", mixed).Feeds[0]; f.Delimiter != "semicolon" || f.Table != "labs" {
		t.Errorf("%+v", f)
	}
}

// A laboratory's sheet with a column a test is told as what it is.
func TestAColumnATest(t *testing.T) {
	wantAll(t, everything(look(t, "wide.csv", "Patient ID,Collected at,INR,Fibrinogen\n"+strings.Repeat("P1,2026-03-04T10:00,1.2,2.2\n", 6))), "INR, Fibrinogen seem to hold one test each")
}

// The date in a name is proposed only where no row is later than it.
func TestFileDates(t *testing.T) {
	rows := "Patient,Test,Result,Collected\n" + strings.Repeat("P1,INR,1.2,2026-03-04T10:00\n", 6)
	for name, want := range map[string]string{"labs_2026-03-31.csv": `labs_(\d{4}-\d{2}-\d{2})`, "20260331-labs.csv": `(\d{8})`, "labs 2026-03.csv": `labs (\d{4}-\d{2})`, "labs_2026-03-01.csv": "", "labs.csv": ""} {
		// A row of the night after the month is no reason against a month's name.
		if name == "labs 2026-03.csv" {
			rows := strings.ReplaceAll(rows, "03-04T10:00", "04-01T00:40")
			wantAll(t, everything(look(t, name, rows)), `file_date: 'labs (\d{4}-\d{2})'`, "times are taken to the end of the day after it")
		}
		if f := look(t, name, rows).Feeds[0]; f.FileDate != want || name == "labs_2026-03-01.csv" && f.FileDateNote == "" {
			t.Errorf("%s: %q (%s), wanted %q", name, f.FileDate, f.FileDateNote, want)
		}
	}
}
