package inspect

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
)

// secrets are what a wrongly mapped or shifted export may hold anywhere: names,
// numbers of persons and units, dates of birth, telephone numbers, addresses (all
// invented). Each of n persons has one of each.
func secrets(r *rand.Rand, n int) [][]string {
	given := []string{"Aoife", "Brian", "Ciara", "Declan", "Eimear", "Fiona", "Garrett", "Hanna", "Ivo", "Jutta", "Karel", "Lotte"}
	family := []string{"Murphy", "Doyle", "Kavanagh", "Sørensen", "Müller", "García", "Nowak", "Rossi", "Lefèvre", "Okafor", "Quillinan", "Byrne"}
	var all [][]string
	for i := range n {
		g, f := given[r.IntN(len(given))]+fmt.Sprint(string(rune('a'+i%26))), family[i%len(family)]+string(rune('a'+i/12%26))
		all = append(all, []string{
			f + ", " + g, g + " " + f, strings.ToUpper(f), fmt.Sprintf("T%07d", r.IntN(10_000_000)), fmt.Sprintf("%010d", r.IntN(1_000_000_000)),
			fmt.Sprintf("%02d/%02d/19%02d", r.IntN(28)+1, r.IntN(12)+1, r.IntN(90)+10), fmt.Sprintf("19%02d-%02d-%02d", r.IntN(90)+10, r.IntN(12)+1, r.IntN(28)+1),
			fmt.Sprintf("G1234%02d%06d", 26, r.IntN(1_000_000)), fmt.Sprintf("+353 %d %07d", r.IntN(90)+10, r.IntN(10_000_000)), fmt.Sprintf("%d Harbour Road, Nowhere", i+1), "Dr " + f,
		})
	}
	return all
}

// TestNothingOfAPersonIsShown puts names, numbers and dates of persons into every
// column of exports whose headers promise codes: a person has many rows, so that
// each value recurs, and nothing of it may be seen in any form of the output.
func TestNothingOfAPersonIsShown(t *testing.T) {
	headers := []string{
		"Donation number;Product code;Component;Volume;Patient ID;Issued at;Outcome;Reason;Discard reason;Blood group;Ward",
		"Patient ID;Test;Result;Unit;Collected at;Status;Point of care;Reported;Lab number;x;y",
		"Patient;Event;Detail;When;Until;a;b;c;d;e;f",
		"Patient;Drug;Given;Month;Count;Measure;Sex;Born;Rh;Group;Method",
		"Code;Type;Kind;Item;Name;Value;Unit;Time;Date;Number;State",
	}
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 3))
		people := secrets(r, 3+r.IntN(40))
		header := headers[r.IntN(len(headers))]
		width := strings.Count(header, ";") + 1
		// A column holds one kind of secret, or any, and a row those of one person,
		// or of any: names of staff stand beside many patients. A person is in 1 to
		// 60 rows.
		mixed, shuffled := r.IntN(2) == 0, r.IntN(2) == 0
		kinds := r.Perm(width)
		var b strings.Builder
		b.WriteString(header + "\n")
		for _, person := range people {
			for range 1 + r.IntN(60) {
				for i := range width {
					k := kinds[i]
					if mixed {
						k = r.IntN(width)
					}
					if i > 0 {
						b.WriteByte(';')
					}
					whose := person
					if shuffled {
						whose = people[r.IntN(len(people))]
					}
					b.WriteString(`"` + whose[k] + `"`)
				}
				b.WriteByte('\n')
			}
		}
		found := look(t, "export.csv", b.String())
		inJSON, err := json.Marshal(found)
		if err != nil {
			t.Fatal(err)
		}
		seen := everything(found) + string(inJSON)
		for _, person := range people {
			for _, secret := range person {
				if strings.Contains(seen, secret) {
					t.Fatalf("seed %d: %q is shown in\n%s", seed, secret, everything(found))
				}
			}
		}
	}
}

// TestCodesAreShownByFrequency is the other side: codes that many patients share
// are shown, a name among them is not, nor a code of one patient.
func TestCodesAreShownByFrequency(t *testing.T) {
	var b strings.Builder
	b.WriteString("Patient ID,Test,Result,Unit,Collected at\n")
	for i := range 200 {
		test := []string{"INR", "QF1", "QF1"}[i%3]
		switch {
		case i%20 == 7:
			test = "Murphy"
		case i == 3:
			test = "QR1"
		}
		fmt.Fprintf(&b, "P%d,%s,1.2,,2026-03-%02dT10:00\n", i%50, test, i%28+1)
	}
	text := everything(look(t, "labs.csv", b.String()))
	wantAll(t, text, "# QF1: ?")
	for _, hidden := range []string{"Murphy", "QR1"} {
		if strings.Contains(text, hidden) {
			t.Errorf("%s is shown:\n%s", hidden, text)
		}
	}
}
