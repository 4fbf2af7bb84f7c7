package internal

import (
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// layers says which of our packages a package may import, and so which way the
// data flows. A package that is not here may be imported by cmd alone.
var layers = map[string][]string{
	"contract":       {},
	"stat":           {},
	"words":          {},
	"site":           {"contract", "words"},
	"policy":         {"contract", "queries"},
	"read/source":    {},
	"read/delimited": {"read/source"},
	"read/row":       {},
	"read/xlsx":      {"read/source"},
	"read/hl7":       {"contract", "read/source", "read/row"},
	"read/fhir":      {"contract", "read/source", "read/row"},
	"read":           {"contract", "read/source", "read/row", "read/delimited", "read/xlsx", "read/hl7", "read/fhir"},
	"normalise":      {"contract", "site"},
	"inspect":        {"contract", "site", "read", "normalise"},
	"store":          {"contract"},
	"engine":         {"contract"},
	"ingest":         {"contract", "site", "read", "normalise", "store"},
	"audit":          {"contract", "site", "policy", "store", "engine", "queries"},
	"status":         {"contract", "normalise", "site", "policy", "store", "engine", "audit"},
	"figure":         {"contract", "engine", "stat", "words", "policy", "queries", "dashboards"},
	"chart":          {"figure", "stat"},
	"chart/compile":  {"chart"},
	"pack":           {"contract", "words", "site", "policy", "store", "engine", "audit", "stat", "figure", "chart", "queries", "dashboards"},
	"invent":         {"contract"},
}

// gates says which outside library stands behind which package alone.
var gates = map[string][]string{
	"github.com/marcboeker/go-duckdb":        {"engine"},
	"github.com/apache/arrow-go/v18":         {"engine"},
	"github.com/apache/arrow/go/v17/parquet": {"store"},
	"github.com/go-echarts/go-echarts/v2":    {"chart"},
	"github.com/buke/quickjs-go":             {"chart"},
	"github.com/goccy/go-yaml":               {"site", "policy", "figure", "words", "pack"},
	"github.com/alecthomas/kong":             {},
}

func TestLayersFlowOneWay(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", "{{.ImportPath}} {{join .Imports \" \"}}", "./...").Output()
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
		fields := strings.Fields(line)
		name, found := strings.CutPrefix(fields[0], "thawline/internal/")
		if !found {
			continue
		}
		seen++
		allowed, known := layers[name]
		if !known {
			t.Errorf("package %s has no place in layers: say what it may import", name)
			continue
		}
		for _, imported := range fields[1:] {
			if own, ok := strings.CutPrefix(imported, "thawline/"); ok {
				own = strings.TrimPrefix(own, "internal/")
				if !slices.Contains(allowed, own) {
					t.Errorf("%s imports %s: data flows the other way (allowed: %v)", name, own, allowed)
				}
				continue
			}
			for library, gate := range gates {
				if (imported == library || strings.HasPrefix(imported, library+"/")) && !slices.Contains(gate, name) {
					t.Errorf("%s imports %s: it stands behind %v alone", name, library, gate)
				}
			}
		}
	}
	if seen < len(layers) {
		t.Errorf("%d packages seen, layers names %d", seen, len(layers))
	}
}
