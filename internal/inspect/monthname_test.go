package inspect

import (
	"strings"
	"testing"
)

func TestMonthsInNames(t *testing.T) {
	for name, want := range map[string]int{
		"Laborexport Okt 2026.csv": 10, "Labor_März_2026.csv": 3, "labs-Dec.csv": 12, "coag août 2026.xlsx": 8, "mayo.csv": 5, "Uitslagen mrt.csv": 3, "Jänner.csv": 1,
		"résultats févr. 2026.csv": 2, "SEPTEMBER.csv": 9, "jul_2026.csv": 7, "2026Okt.csv": 10,
		"marking.csv": 0, "decision.csv": 0, "labs 2026-10.csv": 0, "Oct to Nov.csv": 0, "export.csv": 0,
	} {
		if got, word := monthIn(name); got != want {
			t.Errorf("%s: month %d (%s), want %d", name, got, word, want)
		}
	}
	words, outOfOrder := monthsInWords([]string{"Labor Nov.csv", "Labor Okt.csv", "other.csv"})
	if strings.Join(words, " ") != "Nov Okt" || !outOfOrder {
		t.Errorf("%v %v", words, outOfOrder)
	}
	if _, outOfOrder := monthsInWords([]string{"Labor Nov.csv", "Labor dez.csv"}); outOfOrder {
		t.Error("November stands before December")
	}
}

// TestFilesWithMonthsInWords: inspect warns where several files have no date that
// file_date could read, and most of all where their names tell months in words.
func TestFilesWithMonthsInWords(t *testing.T) {
	rows := "unit_no,product_code,patient_id,issued_at\nU1,F,P1,2026-10-03T10:00Z\nU2,F,P2,2026-10-04T10:00Z\n"
	for _, c := range []struct {
		names []string
		want  string
	}{
		{[]string{"Ausgabe Nov 2026.csv", "Ausgabe Okt 2026.csv"}, "the names tell the month in words (Nov, Okt), which is not read as a date: later files are told from earlier ones by name, letter by letter, so that Nov stands before Okt"},
		{[]string{"issues_a.csv", "issues_b.csv"}, "no name holds a date"},
		{[]string{"issues_2026-10.csv", "issues_2026-11.csv"}, ""},
	} {
		var args []string
		for _, name := range c.names {
			args = append(args, name, rows)
		}
		found := look(t, args...)
		said := strings.Join(found.Lines(), "\n")
		if c.want == "" && strings.Contains(said, "file_date:") || !strings.Contains(said, c.want) {
			t.Errorf("%v: wanted %q in\n%s", c.names, c.want, said)
		}
	}
}
