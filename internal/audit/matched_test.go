package audit

import (
	"context"
	"fmt"
	"strings"
	"testing"
)

// TestMatchedPatients: a feed that writes patients' numbers otherwise than the blood
// bank is told, with how, whoever it should have known alone is asked for, and an
// alias joins what it joins.
func TestMatchedPatients(t *testing.T) {
	st := newStore(t)
	issues, zeros, prefixed, digits, few, other, late := "unit_no,patient_id,component,issued_at,fate\n", "patient_id,kind,at\n", "patient_id,kind,measured_at,value\n", "patient_id,medicine,given_at\n",
		"patient_id,collected_at,value\n", "unit_no,patient_id,started_at\n", "patient_id,sex\n"
	aliases := "alias,patient_id\n"
	for i := range 40 {
		// Ten of another component, and ten of a time of which no feed tells.
		component, month := "plasma", "01"
		switch i / 10 {
		case 2:
			component = "red_cells"
		case 3:
			month = "06"
		}
		issues += fmt.Sprintf("U%d,%05d,%s,2025-%s-1%dT10:00,presumed\n", i, 7*i+1, component, month, i%10)
		zeros += fmt.Sprintf("%d,bleeding,2025-01-1%dT10:00\n", 7*i+1, i%10)
		prefixed += fmt.Sprintf("PID-%05d,weight,2025-01-1%dT10:00,70\n", 7*i+1, i%10)
		digits += fmt.Sprintf("%05d%d,heparin,2025-01-1%dT10:00\n", 7*i+1, (3*i+5)%10, i%10)
		number := fmt.Sprint("N", i)
		if i == 3 {
			number = fmt.Sprintf("%05d", 7*i+1)
		}
		few += number + fmt.Sprintf(",2025-01-1%dT10:00,1.1\n", i%10)
		other += fmt.Sprintf("U%d,Z%d,2025-01-1%dT10:10\n", i, 90000+i, i%10)
		late += fmt.Sprintf("E%d,F\n", i)
		aliases += fmt.Sprintf("E%d,%05d\n", i, 7*i+1)
	}
	for _, x := range []monthExport{{"issues", "", issues}, {"events", "", zeros}, {"measures", "", prefixed}, {"medicines", "", digits}, {"labs", "", few}, {"bedside", "", other}, {"patients", "", late}, {"aliases", "", aliases}} {
		ingestExport(t, st, x)
	}
	bringUp(t, st, 1)
	for _, whole := range []bool{false, true} {
		all, err := MatchedPatients(context.Background(), st, whole)
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, m := range all {
			got += fmt.Sprintf("%s %d/%d %d %v %v\n", m.Table, m.Patients, m.Of, m.Otherwise, m.None(), m.Few())
		}
		// Labs are asked by their years: of 30 patients one.
		want := "labs 1/30 0 false true\nbedside 0/20 0 true true\nmeasures 0/20 20 true true\nevents 0/20 20 true true\nmedicines 0/20 20 true true\npatients 30/30 0 false false\n"
		if got != want {
			t.Errorf("whole %v:\n%swant\n%s", whole, got, want)
		}
		lines := ""
		for _, m := range all {
			lines += m.Line() + "\n"
		}
		for _, want := range []string{"events: NO PATIENT MATCHES", "20 of them match without leading zeros: export the numbers as text", "measures: NO", "the letters and signs in front", "(a check digit?)", "labs: FEW PATIENTS MATCH: it has rows of only 1 of the 30", "bedside: NO", "see how patients are numbered"} {
			if !strings.Contains(lines, want) {
				t.Errorf("it does not say %q:\n%s", want, lines)
			}
		}
	}
}

// Few patients with plasma had a medicine or an event, as a rule: that is no fault, where
// no other form of their numbers makes more of them match.
func TestFewPatientsOfASparseTable(t *testing.T) {
	for _, c := range []struct {
		m    Matched
		want bool
	}{
		{Matched{Table: "labs", Patients: 29, Of: 1114}, true},
		{Matched{Table: "medicines", Patients: 29, Of: 1114}, false},
		{Matched{Table: "medicines", Patients: 29, Of: 1114, Otherwise: 500}, true},
		{Matched{Table: "events", Patients: 0, Of: 9}, true},
		{Matched{Table: "events", Patients: 1, Of: 100}, false},
	} {
		if got := c.m.Few(); got != c.want {
			t.Errorf("%+v: few %t, wanted %t", c.m, got, c.want)
		}
	}
}
