package inspect

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// decided gives the proven layouts and the sets of open ones of a column.
func decided(t *testing.T, name string, cells ...string) (proven []FeedForm, open []OpenForm) {
	t.Helper()
	p := newProfile("When")
	near, _ := latestDays(func() string { d, _ := dateIn(name); return d }())
	var scratch []byte
	for i, c := range cells {
		scratch = p.add([]byte(c), Place{name, int64(i + 2)}, near, scratch)
	}
	g := &group{columns: []*profile{p}}
	return g.forms()
}

// A form is proven by a value that no other order reads, and by nothing less:
// the cells of each case are of one form, and what proves it is in the row named.
func TestTimeFormsAreProvenOrOpen(t *testing.T) {
	for _, c := range []struct {
		name   string
		file   string
		cells  string // parted by |
		proven string
		row    int64
		open   string // layouts parted by |
	}{
		{"day first", "", "03/04/2026 10:15|13/04/2026 09:00", "02/01/2006 15:04", 3, ""},
		{"month first", "", "03/04/2026 10:15|04/13/2026 09:00", "01/02/2006 15:04", 3, ""},
		{"neither", "", "03/04/2026 10:15|12/12/2026 09:00", "", 0, "02/01/2006 15:04|01/02/2006 15:04"},
		{"points, seconds", "", "03.04.2026 10:15:30|31.01.2026 09:00:00", "02.01.2006 15:04:05", 3, ""},
		{"not padded", "", "3/4/2026 9:05|13/4/2026 10:00", "2/1/2006 15:04", 3, ""},
		{"padded and not", "", "03/04/2026 10:15|3/14/2026 9:05", "1/2/2006 15:04", 3, ""},
		{"AM and PM", "", "3/4/2026 9:05 AM|3/14/2026 12:00 PM", "1/2/2006 3:04 PM", 3, ""},
		{"am and pm", "", "13/04/2026 09:05am|13/04/2026 12:00pm", "02/01/2006 03:04pm", 2, ""},
		{"a name of a month", "", "03-Apr-2026 10:15|04-APR-2026 11:00", "02-Jan-2006 15:04", 0, ""},
		{"a name of a month, a year of two digits", "", "03-Apr-26 10:15|04-APR-26 11:00", "", 0, "02-Jan-06 15:04|06-Jan-02 15:04"},
		{"a long name of a month first", "", "April 3, 2026 10:15", "January 2, 2006 15:04", 0, ""},
		{"dates alone", "", "03/04/2026|30/04/2026", "02/01/2006", 3, ""},
		{"an offset", "", "13/04/2026 10:15 +02:00", "02/01/2006 15:04 Z07:00", 2, ""},
		{"year first with slashes", "", "2026/04/03 10:15|2026/04/30 10:15", "2006/01/02 15:04", 3, ""},
		{"year first with slashes, no late day", "", "2026/04/03 10:15", "", 0, "2006/01/02 15:04|2006/02/01 15:04"},
		// The year could be the day and the day the year: nothing in the cells
		// excludes it, the date in the file's name does.
		{"two digits for the year", "", "03/04/26 10:15|13/04/26 09:00|28/04/26 09:00", "", 0, "02/01/06 15:04|06/01/02 15:04"},
		{"two digits for the year, in a dated file", "bank_2026-05-02.csv", "03/04/26 10:15|28/04/26 09:00", "02/01/06 15:04", 3, ""},
		{"ISO 8601 needs no form", "", "2026-04-03T10:15|2026-04-03 10:15:00+02", "", 0, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			proven, open := decided(t, c.file, strings.Split(c.cells, "|")...)
			var got, gotOpen string
			var row int64
			if len(proven) > 0 {
				got = proven[0].Layout
				if proven[0].Proof != nil {
					row = proven[0].Proof.Row
				}
			}
			for _, o := range open {
				for i, f := range o.Forms {
					if i > 0 {
						gotOpen += "|"
					}
					gotOpen += f.Layout
				}
			}
			if got != c.proven || row != c.row || gotOpen != c.open || len(proven) > 1 || len(open) > 1 {
				t.Errorf("proven %q at row %d, open %q; wanted %q at %d, %q", got, row, gotOpen, c.proven, c.row, c.open)
			}
		})
	}
}

// One typing error among many times is told, and does not unprove the form; two
// forms mixed are told as open.
func TestCellsThatContradict(t *testing.T) {
	cells := slices.Repeat([]string{"13/04/2026 10:15", "28/04/2026 11:15"}, 100)
	proven, _ := decided(t, "", append(cells, "04/13/2026 10:15")...)
	if len(proven) != 1 || proven[0].Layout != "02/01/2006 15:04" || proven[0].Against != 1 || proven[0].FirstAgainst.Row != 202 {
		t.Errorf("proven %+v", proven)
	}
	if _, open := decided(t, "", append(cells, slices.Repeat([]string{"04/13/2026 10:15"}, 50)...)...); len(open) != 1 {
		t.Errorf("open %+v", open)
	}
}

// TestNoOrderIsProvenFalsely: whatever dates a file holds in one form, inspect
// never says that they are of another.
func TestNoOrderIsProvenFalsely(t *testing.T) {
	forms := []string{"02/01/2006 15:04", "01/02/2006 15:04", "2/1/2006", "1/2/2006 15:04", "02.01.2006", "2006/01/02", "02-01-06", "01-02-06", "06-01-02", "02-Jan-06", "20060102", "02012006"}
	rapid.Check(t, func(t *rapid.T) {
		form := rapid.SampledFrom(forms).Draw(t, "form")
		p := newProfile("When")
		var scratch []byte
		for i := range rapid.IntRange(1, 40).Draw(t, "cells") {
			at := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(rapid.IntRange(0, 60*24*365*6).Draw(t, "minute")) * time.Minute)
			scratch = p.add([]byte(at.Format(form)), Place{"f", int64(i + 2)}, 0, scratch)
		}
		for _, e := range p.families {
			if v := e.decide(); v.proven != nil && !sameLayout(v.proven.Layout, form) {
				t.Fatalf("cells of %s are proven to be %s", form, v.proven.Layout)
			} else if v.proven == nil && !slices.ContainsFunc(v.open, func(f TimeForm) bool { return sameLayout(f.Layout, form) }) {
				t.Fatalf("cells of %s: it is not among %v", form, v.open)
			}
		}
	})
}

// sameLayout leaves out whether numbers are padded: 02/01 and 2/1.
func sameLayout(a, b string) bool {
	bare := strings.NewReplacer("02", "2", "01", "1")
	return bare.Replace(a) == bare.Replace(b)
}

func TestMorningOnlyAndEpochsAreTold(t *testing.T) {
	var morning, epoch strings.Builder
	morning.WriteString("Patient;Test;Result;Collected\n")
	epoch.WriteString("Patient;Test;Result;Collection time\n")
	for i := range 60 {
		fmt.Fprintf(&morning, "P%d;INR;1.2;%02d/04/2026 %02d:10\n", i, i%28+1, i%12+1)
		fmt.Fprintf(&epoch, "P%d;INR;1.2;%d\n", i, 1767225600+i*3600)
	}
	wantAll(t, everything(look(t, "a.csv", morning.String())), "no hour over 12 in 60 times")
	wantAll(t, everything(look(t, "a.csv", epoch.String())), "seconds since 1970", "cannot be stated as a time_format")
}
