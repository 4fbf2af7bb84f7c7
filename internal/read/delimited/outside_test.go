package delimited

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The acid test of CSV readers: csv-spectrum 1.0.0 (BSD-2-Clause, Debian's
// node-csv-spectrum), eleven files, each with what is in it as JSON.
func TestCSVSpectrum(t *testing.T) {
	const folder = "/usr/share/nodejs/csv-spectrum"
	files, err := filepath.Glob(folder + "/csvs/*.csv")
	if err != nil {
		t.Fatal(err)
	}
	if len(files) == 0 {
		t.Skip("needs the set: make outside, or apt-get install node-csv-spectrum")
	}
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".csv")
		t.Run(name, func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			stated, err := os.ReadFile(filepath.Join(folder, "json", name+".json"))
			if err != nil {
				t.Fatal(err)
			}
			var want, got []map[string]string
			if err := json.Unmarshal(stated, &want); err != nil {
				t.Fatal(err)
			}
			header, rows, err := read(string(text), 0)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range rows {
				record := map[string]string{}
				for i, cell := range r.Cells {
					record[header[i]] = cell
				}
				got = append(got, record)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("(- the set, + read)\n%s", diff)
			}
		})
	}
	if len(files) != 11 {
		t.Errorf("%d files, the set has 11", len(files))
	}
}
