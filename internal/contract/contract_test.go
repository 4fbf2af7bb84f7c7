package contract

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
)

func tables() []*Table { return Tables() }

// TestEveryColumnIsDescribed holds the contract against its own rules: a reader
// of any stored file finds what each column means.
func TestEveryColumnIsDescribed(t *testing.T) {
	names := map[string]bool{}
	for _, table := range tables() {
		if names[table.Name] {
			t.Errorf("table %s stands twice", table.Name)
		}
		names[table.Name] = true
		if Find(table.Name) != table {
			t.Errorf("Find does not know table %s", table.Name)
		}
		seen := map[string]bool{}
		for _, c := range table.Columns {
			switch {
			case seen[c.Name]:
				t.Errorf("%s.%s stands twice", table.Name, c.Name)
			case c.Doc == "":
				t.Errorf("%s.%s is not described", table.Name, c.Name)
			case c.Name != strings.ToLower(c.Name):
				t.Errorf("%s.%s is not in lower case", table.Name, c.Name)
			}
			seen[c.Name] = true
		}
		for _, key := range table.Key {
			if !seen[key] {
				t.Errorf("%s: the key names %s, which is no column", table.Name, key)
			}
		}
	}
}

func TestFeedsTellTheirSource(t *testing.T) {
	for _, table := range Feeds() {
		for _, name := range []string{"status", "date_only", "source_file", "source_row"} {
			if table.Column(name) == nil {
				t.Errorf("%s has no column %s", table.Name, name)
			}
		}
		for _, c := range table.SourceColumns() {
			if c.CurrentOnly {
				t.Errorf("%s.%s is of current alone", table.Name, c.Name)
			}
		}
		// A number of a patient identifies wherever it stands.
		if c := table.Column("patient_id"); c != nil && !c.Identifies {
			t.Errorf("%s.patient_id does not say that it identifies", table.Name)
		}
	}
}

func TestEveryTestHasItsUnit(t *testing.T) {
	for _, test := range Tests {
		if TestUnits[test] == "" {
			t.Errorf("no unit for %s", test)
		}
	}
	for _, test := range slices.Concat(BeforeAfterTests, CriterionTests) {
		if !slices.Contains(Tests, test) {
			t.Errorf("%s is no test", test)
		}
	}
}

func TestDictionaryIsJSON(t *testing.T) {
	for _, table := range tables() {
		var d struct {
			Contract int
			Table    string
			Columns  []struct{ Name, Type, Description string }
		}
		if err := json.Unmarshal([]byte(Dictionary(table, table.Columns)), &d); err != nil {
			t.Fatal(err)
		}
		if d.Contract != Version || d.Table != table.Name || len(d.Columns) != len(table.Columns) {
			t.Errorf("%s: the dictionary says %+v", table.Name, d)
		}
		if schema := Schema(table.Columns); schema.NumFields() != len(table.Columns) {
			t.Errorf("%s: %d fields", table.Name, schema.NumFields())
		}
	}
}
