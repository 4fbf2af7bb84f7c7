package policy

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

// Whatever a policy file holds, Load gives a policy or places faults in it.
func FuzzLoad(f *testing.F) {
	for _, seed := range []string{
		"over_bleeding: 1.8\n", "dose_low: &a 10\ndose_high: *a\n", "<<: {dose_low: 10}\n", "over_bleeding: !!str 1\n",
		"over_bleeding:\n  - {from: 2025-07-01, value: 1.8}\n", "? [a]\n: b\n", "weight_for_age: [{low_kg: 1, high_kg: 2}]\n",
		"weight_before_d: {adult: {value: 1}}\n", "dose_low: |\n  10\n", "bleeding_recorded_in: [[events]]\n", "---\n---\na: b\n",
	} {
		f.Add([]byte(seed))
	}
	path := filepath.Join(f.TempDir(), "policy.yaml")
	f.Fuzz(func(t *testing.T, data []byte) {
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		p, err := Load(path)
		if err == nil {
			for _, row := range p.Rows() {
				if len(row) != len(p.Columns()) {
					t.Error("a row does not fit the columns")
				}
			}
			return
		}
		var faults *Faults
		if !errors.As(err, &faults) {
			t.Fatalf("not faults: %v", err)
		}
		for _, fault := range faults.List {
			if fault.Line < 1 || fault.Message == "" {
				t.Errorf("a fault without place or words: %+v", fault)
			}
		}
	})
}
