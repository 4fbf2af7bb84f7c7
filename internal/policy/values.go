// Package policy holds the numbers and words that a hospital may set: limits,
// windows and assumptions, each with its unit, range and published source,
// and the decision table that turns an episode's facts into its mark.
package policy

import (
	_ "embed"
	"fmt"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/parser"
)

//go:embed defaults.yaml
var defaultsYAML []byte

// kind is the type of a policy value.
type kind string

const (
	number kind = "number"
	count  kind = "count" // a whole number; kept as a float like the others
	yesNo  kind = "yes_no"
	word   kind = "word"
	words  kind = "words"
	table  kind = "table"
)

// definition is one entry of the defaults file.
type definition struct {
	name   string
	Value  any       `yaml:"value"`
	Kind   kind      `yaml:"kind"`
	Unit   string    `yaml:"unit"`
	Range  []float64 `yaml:"range"`
	None   bool      `yaml:"none"`
	Judges bool      `yaml:"judges"`
	Words  []string  `yaml:"words"`
	Source string    `yaml:"source"`
	Others []string  `yaml:"others"`
	// parts names the parts of a composite value in file order; the part
	// called default is the column without suffix.
	parts []string
}

// columns gives the flattened names of d, one a part.
func (d *definition) columns() []string {
	if d.Kind == table {
		return nil
	}
	if len(d.parts) == 0 {
		return []string{d.name}
	}
	names := make([]string, len(d.parts))
	for i, part := range d.parts {
		names[i] = d.column(part)
	}
	return names
}

func (d *definition) column(part string) string {
	if part == "" || part == "default" {
		return d.name
	}
	return d.name + "_" + part
}

func (d *definition) hasPart(part string) bool {
	for _, known := range d.parts {
		if known == part {
			return true
		}
	}
	return false
}

// wanted says what a value of d looks like, for error messages.
func (d *definition) wanted() string {
	var s string
	switch d.Kind {
	case number, count:
		s = "a number"
		if d.Kind == count {
			s = "a whole number"
		}
		s += " from " + text(d.Range[0]) + " to " + text(d.Range[1])
		if d.Unit != "" && d.Unit != "1" {
			s += " " + d.Unit
		}
	case yesNo:
		return "yes or no"
	case word:
		s = "one of " + strings.Join(d.Words, ", ")
	case words:
		return "one or more of " + strings.Join(d.Words, ", ")
	case table:
		return "a list of {under_days or under_years, low_kg, high_kg}, youngest first, the last without an age"
	}
	if d.None {
		s += ", or none"
	}
	return s
}

// check turns a plain value (float64, bool, string or nil for none) into the
// one that is kept, or says why not.
func (d *definition) check(found any) (any, error) {
	if found == nil {
		if d.None {
			return nil, nil
		}
		return nil, fmt.Errorf("found none, wanted %s", d.wanted())
	}
	switch d.Kind {
	case number, count:
		n, ok := found.(float64)
		if !ok {
			return nil, fmt.Errorf("found %v, wanted %s", show(found), d.wanted())
		}
		// Written so that a NaN is refused too.
		if !(n >= d.Range[0] && n <= d.Range[1]) || d.Kind == count && n != float64(int64(n)) {
			return nil, fmt.Errorf("found %s, wanted %s", text(n), d.wanted())
		}
		return n, nil
	case yesNo:
		switch found {
		case true, "yes":
			return true, nil
		case false, "no":
			return false, nil
		}
	case word:
		// YAML readers differ on a bare yes: both readings mean the word.
		if b, ok := found.(bool); ok {
			found = yes(b)
		}
		for _, known := range d.Words {
			if found == known {
				return known, nil
			}
		}
	case words:
		if s, ok := found.(string); ok {
			return d.wordList(strings.Fields(s))
		}
	}
	return nil, fmt.Errorf("found %v, wanted %s", show(found), d.wanted())
}

// wordList gives the words in the order of the definition, parted by spaces.
func (d *definition) wordList(found []string) (any, error) {
	named := map[string]bool{}
	for _, w := range found {
		named[w] = true
	}
	var kept []string
	for _, known := range d.Words {
		if named[known] {
			kept = append(kept, known)
			delete(named, known)
		}
	}
	if len(named) > 0 || len(kept) == 0 {
		return nil, fmt.Errorf("found %q, wanted %s", strings.Join(found, " "), d.wanted())
	}
	return strings.Join(kept, " "), nil
}

func show(v any) string {
	switch v := v.(type) {
	case string:
		return strconv.Quote(v)
	case bool:
		return yes(v)
	}
	return text(v)
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// text prints a kept value as it stands in the pack.
func text(v any) string {
	switch v := v.(type) {
	case nil:
		return "none"
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case bool:
		return yes(v)
	}
	return fmt.Sprint(v)
}

// AgeWeight bounds the weights that are believed under an age.
type AgeWeight struct {
	// UnderDays and UnderYears are the age below which the bounds hold, in
	// days or in completed years; both nil in the last row, for everyone else.
	UnderDays  *int64 `yaml:"under_days" json:"under_days,omitempty"`
	UnderYears *int64 `yaml:"under_years" json:"under_years,omitempty"`
	// LowKg and HighKg are the bounds, both allowed, in kg.
	LowKg  float64 `yaml:"low_kg" json:"low_kg"`
	HighKg float64 `yaml:"high_kg" json:"high_kg"`
}

// String prints the bounds as they stand in the pack.
func (w AgeWeight) String() string {
	bounds := text(w.LowKg) + " to " + text(w.HighKg)
	switch {
	case w.UnderDays != nil:
		return fmt.Sprintf("under %d d %s", *w.UnderDays, bounds)
	case w.UnderYears != nil:
		return fmt.Sprintf("under %d a %s", *w.UnderYears, bounds)
	}
	return "else " + bounds
}

func checkWeights(rows []AgeWeight, d *definition) error {
	last := 0.0
	for i, w := range rows {
		if !(w.LowKg >= d.Range[0] && w.HighKg <= d.Range[1] && w.LowKg < w.HighKg) {
			return fmt.Errorf("row %d: found low_kg %s, high_kg %s, wanted low_kg under high_kg, both from %s to %s",
				i+1, text(w.LowKg), text(w.HighKg), text(d.Range[0]), text(d.Range[1]))
		}
		if i == len(rows)-1 {
			if w.UnderDays != nil || w.UnderYears != nil {
				return fmt.Errorf("the last row names an age, wanted one without, for everyone older")
			}
			return nil
		}
		if (w.UnderDays == nil) == (w.UnderYears == nil) {
			return fmt.Errorf("row %d: wanted either under_days or under_years", i+1)
		}
		var age float64
		if w.UnderDays != nil {
			age = float64(*w.UnderDays)
		} else {
			age = float64(*w.UnderYears) * 365.25
		}
		if age <= last {
			return fmt.Errorf("row %d: wanted an age over that of the row before", i+1)
		}
		last = age
	}
	return fmt.Errorf("found an empty list, wanted %s", d.wanted())
}

// The defaults, read once. The file is part of the program: a fault in it is a
// fault of the program.
var (
	definitions    []*definition
	byName         = map[string]*definition{}
	byColumn       = map[string]*definition{}
	defaultWeights []AgeWeight
	defaultValues  = map[string]any{}
)

func init() {
	if err := readDefaults(defaultsYAML); err != nil {
		panic("policy defaults: " + err.Error())
	}
}

func readDefaults(data []byte) error {
	file, err := parser.ParseBytes(data, 0)
	if err != nil {
		return err
	}
	var names yaml.MapSlice
	if err := yaml.NodeToValue(file.Docs[0].Body, &names, yaml.UseOrderedMap()); err != nil {
		return err
	}
	var entries map[string]*definition
	if err := yaml.NodeToValue(file.Docs[0].Body, &entries, yaml.Strict()); err != nil {
		return err
	}
	for _, item := range names {
		name := item.Key.(string)
		d := entries[name]
		d.name = name
		if d.Kind == "" {
			d.Kind = number
		}
		definitions = append(definitions, d)
		byName[name] = d
		if d.Kind == table {
			raw, err := yaml.Marshal(d.Value)
			if err != nil {
				return err
			}
			if err := yaml.UnmarshalWithOptions(raw, &defaultWeights, yaml.Strict()); err != nil {
				return err
			}
			if err := checkWeights(defaultWeights, d); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
			continue
		}
		values := map[string]any{"": d.Value}
		for _, field := range item.Value.(yaml.MapSlice) {
			parts, composite := field.Value.(yaml.MapSlice)
			if field.Key != "value" || !composite {
				continue
			}
			values = map[string]any{}
			for _, part := range parts {
				d.parts = append(d.parts, part.Key.(string))
				values[part.Key.(string)] = part.Value
			}
		}
		for part, value := range values {
			kept, err := d.check(plain(value))
			if err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
			defaultValues[d.column(part)] = kept
		}
		for _, column := range d.columns() {
			byColumn[column] = d
		}
	}
	return nil
}

// plain turns what YAML gives into float64, bool, string or nil for none.
func plain(v any) any {
	switch v := v.(type) {
	case int:
		return float64(v)
	case int64:
		return float64(v)
	case uint64:
		return float64(v)
	case string:
		if v == "none" {
			return nil
		}
	}
	return v
}
