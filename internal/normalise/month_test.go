package normalise

import (
	"strings"
	"testing"
)

// Of a file named by a month alone, what ends on the day after the month is taken
// and counted; what is later cannot be.
func TestTheDayAfterAMonth(t *testing.T) {
	s, f := load(t, "issues", "")
	named, _ := EndOfDay(s.Zone, "2025-03-31")
	made, _ := EndOfDay(s.Zone, "2025-04-01")
	m, err := New(s, f, strings.Split("unit_no;product_code;issued_at;ended_at", ";"), FileInfo{Name: "x.csv", Date: made, Named: named})
	if err != nil {
		t.Fatal(err)
	}
	b := m.NewBatch()
	for i, ended := range []string{"2025-03-31T23:59", "2025-04-01T00:40", "2025-04-01T22:59", "2025-04-02T00:00"} {
		b.Add(int64(i+2), [][]byte{[]byte("G1"), []byte("F"), []byte("2025-03-31T23:10"), []byte(ended)})
	}
	out := b.Finish()
	kept := 0
	for _, row := range texts(t, out.Records["issues"]) {
		if row["ended_at"] != "" {
			kept++
		}
	}
	// The clock on the wall of London is an hour ahead by then.
	if problems := texts(t, out.Problems); kept != 3 || out.Counts.Counted["times_after_the_month"] != 2 || len(problems) != 1 || problems[0]["source_row"] != "5" || !strings.HasPrefix(problems[0]["reason"], "after the file was made") {
		t.Errorf("%d ends kept, counted %v, problems %v", kept, out.Counts.Counted, problems)
	}
}
