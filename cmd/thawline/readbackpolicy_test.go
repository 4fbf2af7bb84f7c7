package main

import (
	"encoding/csv"
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"

	"thawline/queries"
)

// numeral is a number of a policy value; the pack parts its thousands.
var numeral = regexp.MustCompile(`[0-9]+(?:,[0-9]{3})*(?:\.[0-9]+)?`)

// unparted is a value without the signs between its thousands.
func unparted(text string) string {
	return numeral.ReplaceAllStringFunc(text, func(n string) string { return strings.ReplaceAll(n, ",", "") })
}

// leaves are the numbers and words of a value of a policy file, in their order.
func leaves(value any) (all []string) {
	switch v := value.(type) {
	case yaml.MapSlice:
		for _, item := range v {
			all = append(all, leaves(item.Value)...)
		}
	case []any:
		for _, item := range v {
			all = append(all, leaves(item)...)
		}
	case float64:
		all = append(all, strconv.FormatFloat(v, 'f', -1, 64))
	default:
		all = append(all, fmt.Sprint(v))
	}
	return all
}

// policyRows are the values that a site judges by, as its policy file and the defaults
// state them: name, unit, source, who set it, and the value's leaves.
func policyRows(t *testing.T, site string) (all [][]string) {
	t.Helper()
	read := func(text string) yaml.MapSlice {
		var values yaml.MapSlice
		if err := yaml.UnmarshalWithOptions([]byte(text), &values, yaml.UseOrderedMap()); err != nil {
			t.Fatal(err)
		}
		return values
	}
	field := func(of any, name string) any {
		fields, _ := of.(yaml.MapSlice)
		for _, item := range fields {
			if item.Key == name {
				return item.Value
			}
		}
		return ""
	}
	own := map[any]any{}
	for _, item := range read(readFile(t, filepath.Join(filepath.Dir(site), "policy.yaml"))) {
		own[item.Key] = item.Value
	}
	for _, item := range read(readFile(t, "../../internal/policy/defaults.yaml")) {
		from, by := item.Value, "default"
		if mine, ok := own[item.Key]; ok {
			from, by = mine, "the site"
		}
		unit := fmt.Sprint(field(item.Value, "unit"))
		if words, coded := map[string]string{"a": "years", "mo": "months", "1": ""}[unit]; coded {
			unit = words
		}
		row := []string{fmt.Sprint(item.Key), unit, fmt.Sprint(field(from, "source")), by}
		all = append(all, append(row, leaves(field(from, "value"))...))
	}
	return all
}

// checkPolicy compares the table of policy values, and the decision table with the file
// that the episodes are judged by.
func (d *rows) checkPolicy(p *packPage) (wrong []string) {
	fault := func(format string, a ...any) { wrong = append(wrong, fmt.Sprintf(format, a...)) }
	values := p.tables["Every policy value"]
	if len(values) != len(d.policy) {
		fault("%d policy values, recomputed %d", len(values), len(d.policy))
	}
	for i, row := range values {
		want := d.policy[min(i, len(d.policy)-1)]
		// The numbers of a table of values stand in words of the page's own.
		said, leaves := []string{unparted(row[1])}, slices.Clone(want[4:])
		if len(leaves) > 1 {
			said, leaves = numeral.FindAllString(unparted(row[1]), -1), nil
			for _, leaf := range want[4:] {
				leaves = append(leaves, numeral.FindAllString(leaf, -1)...)
			}
		}
		for i, leaf := range leaves {
			if x, err := strconv.ParseFloat(leaf, 64); err == nil {
				leaves[i] = strconv.FormatFloat(x, 'f', -1, 64)
			}
		}
		if got := []string{row[0], row[2], row[4], row[5]}; !slices.Equal(got, want[:4]) || row[3] != "–" || !slices.Equal(said, leaves) {
			fault("policy value %q, as the files say %q", row, want)
		}
	}
	text, err := queries.FS.ReadFile("marks.csv")
	if err != nil {
		return append(wrong, err.Error())
	}
	lines, err := csv.NewReader(strings.NewReader(string(text))).ReadAll()
	if err != nil {
		return append(wrong, err.Error())
	}
	table := p.tables["The decision table"]
	if len(table) != len(lines)-1 {
		fault("the decision table has %d rows, its file %d", len(table), len(lines)-1)
	}
	for i, row := range table {
		want := []string{fmt.Sprint(i + 1)}
		for _, cell := range lines[min(i+1, len(lines)-1)] {
			want = append(want, strings.ReplaceAll(strings.ReplaceAll(cell, "|", " | "), "_", " "))
		}
		if !slices.Equal(row, want) {
			fault("row %d of the decision table is %q, in its file %q", i+1, row, want)
		}
	}
	return wrong
}
