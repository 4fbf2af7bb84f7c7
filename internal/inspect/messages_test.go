package inspect

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thawline/internal/site"
)

// A file of messages is proposed for each table of which it holds rows, with the
// local codes that need a word and without those that are published. All
// messages are invented.
func TestMessagesAreProposedByTable(t *testing.T) {
	var messages, resources strings.Builder
	for i := range 40 {
		fmt.Fprintf(&messages, "MSH|^~\\&|LIS||||20250310||ORU^R01|%d|P|2.5.1\rPID|||P%04d^^^TARN^MR||NAME||19500102|F\rOBR|1|||C|||2025031008%02d\rOBX|1|NM|6301-6^INR^LN||2.%d||||||F\rOBX|2|NM|FIBC^Fibrinogen^L||1.%d|g/L|||||F\r", i, i, i, i%10, i%10)
		fmt.Fprintf(&messages, "MSH|^~\\&|BB||||20250310||BPS^O29|%d|P|2.5.1\rPID|||P%04d^^^TARN^MR\rORC|RE\rBPO|1\rBPX|1|DS|F|2025031009%02d|W0000250000%02d|FFP||||||||1\rMSH|^~\\&|BB||||20250310||BPS^O29|%d|P|2.5.1\rPID|||P%04d^^^TARN^MR\rORC|RE\rBPO|1\rBPX|1|RA|F|2025031010%02d|W0000250000%02d|FFP||||||||1\r", i, i, i, i, i, i, i, i)
		fmt.Fprintf(&resources, `{"resourceType":"Patient","id":"x%d","identifier":[{"value":"P%04d"}]}`+"\n", i, i)
	}
	dir := t.TempDir()
	var paths []string
	for name, text := range map[string]string{"all.hl7": messages.String(), "people.ndjson": resources.String(), "other.hl7": "MSH|^~\\&|ADT||||20250310||ADT^A40|1|P|2.5.1\rEVN|A40\r"} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		paths = append(paths, path)
	}
	found, err := Files(context.Background(), paths, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(found.Missing) != 0 || len(found.Refused) != 1 || !strings.HasSuffix(found.Refused[0].File, "other.hl7") {
		t.Errorf("missing %v, refused %v", found.Missing, found.Refused)
	}
	tables := map[string]bool{}
	for _, f := range found.Feeds {
		tables[f.Table] = true
		if len(f.Undecided) > 0 && f.Table != "labs" && f.Table != "issues" {
			t.Errorf("%s: %v", f.Table, f.Undecided)
		}
	}
	for _, table := range []string{"issues", "labs", "patients", "aliases"} {
		if !tables[table] {
			t.Errorf("no feed of %s", table)
		}
	}
	text := found.Proposal(Site{"Nowhere (invented)", "Europe/Dublin"})
	for _, want := range []string{"# test: understood as they are: 6301-6 (40 rows)", "FIBC: fibrinogen", "# fate: understood as they are: RA (40 rows)", "the format says what its fields are"} {
		if !strings.Contains(text, want) {
			t.Errorf("the proposal has no %q:\n%s", want, text)
		}
	}
	if all := strings.Join(found.Lines(), "\n") + text; strings.Contains(all, "P0007") || strings.Contains(all, "NAME") {
		t.Error("a cell of a person is shown")
	}
	path := filepath.Join(dir, "site.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := site.Load(path); err != nil {
		t.Errorf("the proposal is refused: %v\n%s", err, text)
	}
}
