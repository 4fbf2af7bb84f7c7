package policy

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"thawline/internal/contract"
)

// Policy is the set of values that an audit goes by. Make one with Default or
// Load.
type Policy struct {
	// changes holds, by column, the values that a site states, in the order of
	// their dates; the zero date is from the beginning.
	changes map[string][]change
	weights []AgeWeight
	// weightsSource is the site's reason for its own weight bounds, or empty.
	weightsSource string
	weightsSite   bool
	// TablePath is the site's own decision table, or empty for the default.
	TablePath string
}

// change is one value from a date on.
type change struct {
	from   time.Time
	value  any
	source string
	// approved names who approved it, approvedOn the day.
	approved   string
	approvedOn time.Time
}

// Default gives the policy of a site that states nothing.
func Default() *Policy {
	return &Policy{changes: map[string][]change{}, weights: slices.Clone(defaultWeights)}
}

// Period is a stretch of time in which no judging value changes.
type Period struct {
	// From is its first day, zero for the beginning; Until the day after its
	// last, zero where it is open.
	From, Until time.Time
	// Values holds each value by column name: float64, bool, string, or nil
	// for none.
	Values map[string]any
	// Hash is the first 16 hex digits of SHA-256 over the values as sorted
	// JSON, the weight bounds included.
	Hash string
}

// Periods gives the policy's periods in order of date; at least one.
func (p *Policy) Periods() []Period {
	starts := []time.Time{{}}
	for _, list := range p.changes {
		for _, c := range list {
			starts = append(starts, c.from)
		}
	}
	slices.SortFunc(starts, time.Time.Compare)
	starts = slices.CompactFunc(starts, time.Time.Equal)
	periods := make([]Period, len(starts))
	for i, from := range starts {
		periods[i] = Period{From: from, Values: p.at(from)}
		if i+1 < len(starts) {
			periods[i].Until = starts[i+1]
		}
		periods[i].Hash = p.hash(periods[i].Values)
	}
	return periods
}

// at gives every value that holds on a day.
func (p *Policy) at(day time.Time) map[string]any {
	values := maps.Clone(defaultValues)
	for column, list := range p.changes {
		for _, c := range list {
			if !c.from.After(day) {
				values[column] = c.value
			}
		}
	}
	return values
}

// Changed is a value that changes on a date: from what to what, each a float64, a bool, a
// string, or nil for none.
type Changed struct {
	From    time.Time
	Name    string
	Was, Is any
}

// Changes lists what changes on a date, in order of date and name.
func (p *Policy) Changes() (all []Changed) {
	periods := p.Periods()
	for i := 1; i < len(periods); i++ {
		for _, name := range slices.Sorted(maps.Keys(periods[i].Values)) {
			if was, is := periods[i-1].Values[name], periods[i].Values[name]; was != is {
				all = append(all, Changed{periods[i].From, name, was, is})
			}
		}
	}
	return all
}

func (p *Policy) hash(values map[string]any) string {
	all := maps.Clone(values)
	all["weight_for_age"] = p.weights
	// Maps are written with sorted keys; every value is a float, a bool, a
	// string, null or the weight bounds, none of which fails to marshal.
	data, err := json.Marshal(all)
	if err != nil {
		panic(err)
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])[:16]
}

// Number gives a value by column name as it stands in the last period; false
// where it is none. An unknown name or one that is no number panics: it is a
// fault of the program.
func (p *Policy) Number(column string) (float64, bool) {
	d := byColumn[column]
	if d == nil || d.Kind != number && d.Kind != count {
		panic("policy: no number is called " + column)
	}
	periods := p.Periods()
	n, ok := periods[len(periods)-1].Values[column].(float64)
	return n, ok
}

// Columns gives the columns of the table policy: one row a period.
func (p *Policy) Columns() []contract.Column {
	columns := []contract.Column{
		{Name: "policy_no", Kind: contract.Int, Required: true, Doc: "the period, 1-based, in order of date"},
		{Name: "from_date", Kind: contract.Date, Doc: "its first day; null from the beginning"},
		{Name: "until_date", Kind: contract.Date, Doc: "the day after its last; null where it is open"},
	}
	for _, d := range definitions {
		for _, name := range d.columns() {
			c := contract.Column{Name: name, Kind: contract.Real, Unit: d.Unit, Required: !d.None, Doc: d.Source}
			switch d.Kind {
			case yesNo:
				c.Kind = contract.Bool
			case word:
				c.Kind, c.Codes = contract.Text, d.Words
			case words:
				c.Kind = contract.Text
			}
			columns = append(columns, c)
		}
	}
	return append(columns, contract.Column{Name: "policy_hash", Kind: contract.Text, Required: true, Doc: "first 16 hex digits of SHA-256 over the period's values as sorted JSON"})
}

// Rows gives the rows of the table policy, cells in the order of Columns:
// int64, time.Time, float64, bool, string or nil.
func (p *Policy) Rows() [][]any {
	var rows [][]any
	for i, period := range p.Periods() {
		row := []any{int64(i + 1), date(period.From), date(period.Until)}
		for _, d := range definitions {
			for _, name := range d.columns() {
				row = append(row, period.Values[name])
			}
		}
		rows = append(rows, append(row, period.Hash))
	}
	return rows
}

func date(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t
}

// WeightColumns gives the columns of the table weight_for_age.
func (p *Policy) WeightColumns() []contract.Column {
	return []contract.Column{
		{Name: "under_days", Kind: contract.Int, Unit: "d", Doc: "age below which the bounds hold, in days"},
		{Name: "under_years", Kind: contract.Int, Unit: "a", Doc: "age below which the bounds hold, in completed years; both null for everyone older"},
		{Name: "low_kg", Kind: contract.Real, Unit: "kg", Required: true, Doc: "lowest weight believed"},
		{Name: "high_kg", Kind: contract.Real, Unit: "kg", Required: true, Doc: "highest weight believed"},
	}
}

// WeightRows gives the rows of the table weight_for_age, youngest first.
func (p *Policy) WeightRows() [][]any {
	rows := make([][]any, len(p.weights))
	for i, w := range p.weights {
		row := []any{nil, nil, w.LowKg, w.HighKg}
		if w.UnderDays != nil {
			row[0] = *w.UnderDays
		}
		if w.UnderYears != nil {
			row[1] = *w.UnderYears
		}
		rows[i] = row
	}
	return rows
}

// Value is one policy value for the reader of a pack.
type Value struct {
	Name string
	// Text is the value in words; the parts of a composite one after another.
	Text string
	// Parts is the same for who writes it in other words; one without a name where the
	// value is none of several parts, and none where it is a table.
	Parts []Part
	// Weights are the bounds of a table of weights.
	Weights []AgeWeight
	// Unit is empty for yes or no and for words.
	Unit string
	// Source is the site's where it states the value, else the default's; SiteSource
	// says that it is in the site's own words.
	Source     string
	SiteSource bool
	// Others are values that other sources give.
	Others []string
	// From is the day from which it holds, zero for the beginning.
	From time.Time
	// Judges says that the value may change on a date.
	Judges bool
	// Default says that the site left it as it is; DefaultText is what that was.
	Default     bool
	DefaultText string
	// Approved says who approved the site's value, or is empty; ApprovedOn when.
	Approved   string
	ApprovedOn time.Time
}

// Part is a part of a policy value.
type Part struct {
	// Name is empty for the part that is the value of everything else.
	Name string
	// Value is a float64, a bool, a string, nil for none, or of several words a []string.
	Value any
}

// Values lists every value in the order of the defaults, a value that changes
// on a date once for each date.
func (p *Policy) Values() []Value {
	var values []Value
	for _, d := range definitions {
		v := Value{Name: d.name, Unit: d.Unit, Source: d.Source, Others: d.Others, Judges: d.Judges}
		if d.Kind == table {
			v.Text, v.DefaultText, v.Weights = weightsText(p.weights), weightsText(defaultWeights), p.weights
			v.Default = !p.weightsSite
			if p.weightsSource != "" {
				v.Source, v.SiteSource = p.weightsSource, true
			}
			values = append(values, v)
			continue
		}
		v.DefaultText = d.textOf(defaultValues)
		starts := []time.Time{{}}
		for _, column := range d.columns() {
			for _, c := range p.changes[column] {
				starts = append(starts, c.from)
			}
		}
		slices.SortFunc(starts, time.Time.Compare)
		for _, from := range slices.CompactFunc(starts, time.Time.Equal) {
			v := v
			v.From, v.Default = from, true
			v.Text, v.Parts = d.textOf(p.at(from)), d.partsOf(p.at(from))
			for _, column := range d.columns() {
				for _, c := range p.changes[column] {
					if !c.from.Equal(from) {
						continue
					}
					v.Default, v.Approved, v.ApprovedOn = false, c.approved, c.approvedOn
					v.Source = StatedBySite
					if c.source != "" {
						v.Source, v.SiteSource = c.source, true
					}
				}
			}
			values = append(values, v)
		}
	}
	return values
}

// StatedBySite is the source of a value for which the site names none.
const StatedBySite = "stated by the site"

// partsOf are the parts of a value, in the order of the file.
func (d *definition) partsOf(values map[string]any) (parts []Part) {
	names := d.parts
	if len(names) == 0 {
		names = []string{""}
	}
	for _, name := range names {
		part := Part{Name: name, Value: values[d.column(name)]}
		if name == "default" {
			part.Name = ""
		}
		if list, ok := part.Value.(string); ok && d.Kind == words {
			part.Value = strings.Fields(list)
		}
		parts = append(parts, part)
	}
	return parts
}

func (d *definition) textOf(values map[string]any) string {
	if len(d.parts) == 0 {
		return text(values[d.name])
	}
	var parts []string
	for _, part := range d.parts {
		s := text(values[d.column(part)])
		if part != "default" {
			s = part + " " + s
		}
		parts = append(parts, s)
	}
	return strings.Join(parts, ", ")
}

func weightsText(rows []AgeWeight) string {
	parts := make([]string, len(rows))
	for i, w := range rows {
		parts[i] = w.String()
	}
	return strings.Join(parts, "; ")
}

// Set states a value for all periods, by column name and as text: for tests
// and trials ("concentrate_stocked", "yes"). It refuses what Load refuses.
func (p *Policy) Set(column, value string) error {
	d := byColumn[column]
	if d == nil {
		return fmt.Errorf("%s", unknown(column, slices.Sorted(maps.Keys(byColumn))))
	}
	var found any = value
	switch n, err := strconv.ParseFloat(value, 64); {
	case value == "none":
		found = nil
	case err == nil:
		found = n
	}
	kept, err := d.check(found)
	if err != nil {
		return fmt.Errorf("%s: %w", column, err)
	}
	trial := *p
	trial.changes = maps.Clone(p.changes)
	trial.changes[column] = []change{{value: kept, source: "set by hand"}}
	if _, err := trial.together(); err != nil {
		return err
	}
	p.changes = trial.changes
	return nil
}

// together checks what single values cannot: that a band's low end lies under
// its high end in every period. It names the column at fault.
func (p *Policy) together() (string, error) {
	for _, period := range p.Periods() {
		for _, pair := range [][2]string{{"dose_low", "dose_high"}, {"child_dose_low", "child_dose_high"}, {"dose_tolerance", "dose_low"}, {"dose_tolerance", "child_dose_low"}} {
			low, high := period.Values[pair[0]].(float64), period.Values[pair[1]].(float64)
			if low >= high {
				culprit := pair[0]
				if len(p.changes[culprit]) == 0 {
					culprit = pair[1]
				}
				return culprit, fmt.Errorf("%s: found %s, wanted it under %s, which is %s then", pair[0], text(low), pair[1], text(high))
			}
		}
	}
	return "", nil
}
