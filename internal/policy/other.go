package policy

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"

	"thawline/queries"
)

// OtherValue is a value that published sources give for a number of the policy:
// a store is judged by it too, so that a committee sees what would become of
// the marks.
type OtherValue struct {
	// Column is the policy value, one that judges.
	Column string
	// Setting is in the unit of the value.
	Setting float64
	Source  string
}

// OtherValues reads the values that are tried, in the order of the file.
func OtherValues() ([]OtherValue, error) {
	const name = "other_values.csv"
	text, err := queries.FS.ReadFile(name)
	if err != nil {
		return nil, err
	}
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("queries/%s: %w", name, err)
	}
	var all []OtherValue
	for i, row := range rows[1:] {
		fault := func(what string) error {
			return fmt.Errorf("queries/%s:%d: %s", name, i+2, what)
		}
		d := byColumn[row[0]]
		if d == nil || d.Kind != number || !d.Judges {
			return nil, fault(row[0] + " is no number of the policy that judges")
		}
		setting, err := strconv.ParseFloat(row[1], 64)
		if err != nil || row[2] == "" {
			return nil, fault("wanted a number and its source")
		}
		all = append(all, OtherValue{row[0], setting, row[2]})
	}
	return all, nil
}

// Tries reports whether episodes are judged again by a value: it is not the
// policy's own on all dates, and the policy's other values leave room for it.
func (p *Policy) Tries(o OtherValue) bool {
	if own, always := p.Always(o.Column); always && own == o.Setting {
		return false
	}
	_, err := p.With(o.Column, o.Setting)
	return err == nil
}

// With is the policy with one value set to a number for all dates; the error
// says why the other values do not allow it.
func (p *Policy) With(column string, setting float64) (*Policy, error) {
	other := *p
	if err := other.Set(column, strconv.FormatFloat(setting, 'f', -1, 64)); err != nil {
		return nil, err
	}
	return &other, nil
}

// Always says whether a number of the policy is the same on all dates, and which.
func (p *Policy) Always(column string) (float64, bool) {
	periods := p.Periods()
	first, ok := periods[0].Values[column].(float64)
	for _, period := range periods[1:] {
		ok = ok && period.Values[column] == first
	}
	return first, ok
}
