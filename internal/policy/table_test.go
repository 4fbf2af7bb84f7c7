package policy

import (
	"errors"
	"strings"
	"testing"
)

// small is a table that covers everything in few rows.
const small = `outcome,basis,coagulopathy,alternative,dose_band,course,mark,because
lost|returned,*,*,*,*,*,wasted,nothing was given
unknown,*,*,*,*,*,undetermined,the fate is not recorded
transfused,bleeding,shown,*,*,*,appropriate,"bleeding, clotting disturbed"
transfused,*,*,*,*,*,undetermined,all the rest
`

func TestDefaultTableIsComplete(t *testing.T) {
	table, err := LoadTable("")
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range table.Rows() {
		if row[0] != int64(i+1) || len(row) != len(table.Columns()) {
			t.Errorf("row %d: %v", i, row)
		}
	}
	// Decided by hand from the reasons the table gives.
	for _, c := range []struct{ facts, mark string }{
		{"lost bleeding shown none within none", "wasted"},
		{"transfused plasma_exchange shown none above none", "set-apart"},
		{"transfused bleeding shown none within none", "appropriate"},
		{"transfused bleeding shown none below none", "under-dosed"},
		{"transfused bleeding shown stocked within none", "unsupported"},
		{"transfused bleeding not_shown none within none", "unsupported"},
		{"transfused none_found shown none within none", "non-bleeding"},
		{"transfused not_known shown none within none", "undetermined"},
	} {
		if _, mark, _ := table.Mark(strings.Fields(c.facts)...); mark != c.mark {
			t.Errorf("%s: got %s, want %s", c.facts, mark, c.mark)
		}
	}
}

func TestFirstRowWins(t *testing.T) {
	table, err := ParseTable("t.csv", []byte(small))
	if err != nil {
		t.Fatal(err)
	}
	row, mark, because := table.Mark("transfused", "bleeding", "shown", "none", "below", "none")
	if row != 3 || mark != "appropriate" || because != "bleeding, clotting disturbed" {
		t.Errorf("got %d %s %s", row, mark, because)
	}
	if row, _, _ := table.Mark("transfused", "bleeding", "not_shown", "none", "below", "none"); row != 4 {
		t.Errorf("got row %d, want 4", row)
	}
}

func TestTableFaults(t *testing.T) {
	for name, c := range map[string]struct{ old, new, want string }{
		"unknown word":   {"transfused,bleeding,", "transfused,bleding,", `t.csv:4: basis: bleding: unknown name; did you mean bleeding?`},
		"unknown mark":   {",appropriate,", ",apropriate,", `t.csv:4: mark: apropriate: unknown name; did you mean appropriate?`},
		"star in a list": {"lost|returned", "lost|*", `t.csv:2: outcome: *: unknown name`},
		"no reason":      {"all the rest", "", `t.csv:5: because: found nothing`},
		"gap":            {"unknown,*,*,*,*,*,", "unknown,*,shown|not_shown,*,*,*,", `396 combinations reach no row, the first: outcome unknown, basis plasma_exchange, coagulopathy not_known, alternative stocked, dose_band below, course answered;`},
		"unreachable":    {"transfused,*,*,*,*,*,", "*,*,*,*,*,*,undetermined,first\ntransfused,*,*,*,*,*,", `t.csv:6: this row can never be reached: the rows on lines 4, 5 take all it would`},
		"too many cells": {"all the rest", "all, the rest", `t.csv:5: found 9 columns, wanted 8`},
		"header":         {"outcome,basis", "basis,outcome", `t.csv:1: wanted the header outcome,basis,`},
		"quotes":         {`"bleeding, clotting disturbed"`, `"bleeding`, `not CSV`},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := ParseTable("t.csv", []byte(strings.Replace(small, c.old, c.new, 1)))
			var faults *Faults
			if !errors.As(err, &faults) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want %q", err, c.want)
			}
		})
	}
}

func TestSiteTableBesideThePolicy(t *testing.T) {
	path := write(t, "marks.csv", small)
	p := load(t, "decision_table: "+path+"\n")
	table, err := p.Table()
	if err != nil {
		t.Fatal(err)
	}
	if len(table.Rows()) != 4 {
		t.Errorf("got %d rows, want the site's 4", len(table.Rows()))
	}
}
