package pack

import (
	"fmt"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/policy"
)

type trust struct {
	// Behind says which layer of the store is behind, or nothing.
	Behind string
	// Unmatched says of each feed that knows no patient with plasma what follows.
	Unmatched []string
	Rows      []Source
}

type judged struct {
	// Terms are words that the page uses, and what they mean.
	Terms   []fact
	Heads   []string
	Table   [][]string
	Values  []judgedValue
	Sources []Source
	Hashes  []policyHash
}

// judgedValue is a value of the policy in words. Approved says that SetBy tells who
// approved it.
type judgedValue struct {
	Name, Text, Unit, From, Source, SetBy string
	Approved                              bool
}

// policyHash is the hash of the policy's values, with words for the day from which they hold.
type policyHash struct{ Hash, From string }

func (in *input) trust() *trust {
	t := &trust{}
	switch {
	case in.behind.Current:
		t.Behind = in.w("behind_current")
	case in.behind.Audit:
		t.Behind = in.w("behind_marks")
	}
	for _, table := range in.unmatched {
		t.Unmatched = append(t.Unmatched, in.w("unmatched", table))
	}
	byTable := map[string]*Source{}
	for _, s := range in.sources {
		sum := byTable[s.Table]
		if sum == nil {
			sum = &Source{Table: s.Table}
			byTable[s.Table] = sum
		}
		sum.Read += s.Read
		sum.Accepted += s.Accepted
		sum.Rejected += s.Rejected
		sum.SetAside += s.SetAside
		sum.Unmapped += s.Unmapped
	}
	for _, table := range contract.Feeds() {
		if s := byTable[table.Name]; s != nil {
			t.Rows = append(t.Rows, *s)
		}
	}
	return t
}

// terms lists the words that a page uses, each with its meaning.
func (in *input) terms() (all []fact) {
	for _, name := range []string{"episode", "bag", "given", "judged", "unsupported", "undetermined", "apart", "inr", "dose", "n", "interval", "limits", "quartiles", "dash", "hidden", "value"} {
		all = append(all, fact{in.w("term_" + name), in.w("means_" + name)})
	}
	return all
}

func (in *input) judged() (*judged, error) {
	table, err := in.policy.Table()
	if err != nil {
		return nil, err
	}
	j := &judged{Terms: in.terms(), Sources: in.sources}
	for _, c := range table.Columns() {
		j.Heads = append(j.Heads, in.text(c.Name))
	}
	for _, row := range table.Rows() {
		var cells []string
		for _, c := range row {
			words := strings.Split(fmt.Sprint(c), "|")
			for i := range words {
				words[i] = in.text(words[i])
			}
			cells = append(cells, strings.Join(words, " | "))
		}
		j.Table = append(j.Table, cells)
	}
	for _, v := range in.policy.Values() {
		j.Values = append(j.Values, in.judgedValue(v))
	}
	for _, p := range in.policy.Periods() {
		from := in.w("the_beginning")
		if !p.From.IsZero() {
			from = in.format.Day(p.From)
		}
		j.Hashes = append(j.Hashes, policyHash{p.Hash, from})
	}
	return j, nil
}

// judgedValue writes a value of the policy. Its name stays as it is in policy.yaml.
func (in *input) judgedValue(v policy.Value) judgedValue {
	out := judgedValue{Name: v.Name, Text: in.valueText(v), From: in.format.Day(v.From), Source: in.said(v.Source, v.SiteSource), SetBy: in.w("the_site")}
	switch v.Unit {
	case "", "1":
	case "a", "mo":
		out.Unit = in.w("unit_" + v.Unit)
	default:
		out.Unit = in.text(v.Unit)
	}
	if v.Default {
		out.SetBy = in.w("default")
	} else if v.Approved != "" {
		out.Approved = true
		out.SetBy = in.w("fact_is", out.SetBy, in.w("approved_by", v.Approved, in.format.Day(v.ApprovedOn)))
	}
	return out
}

// policyDecimals is how many decimals a value of the policy has at most.
const policyDecimals = 6

// valueText writes what a policy value is: its parts, or its bounds of weights.
func (in *input) valueText(v policy.Value) string {
	number := func(x float64) string { return in.format.Number(x, policyDecimals) }
	var all []string
	for _, w := range v.Weights {
		bounds := in.format.Range(number(w.LowKg), number(w.HighKg))
		switch {
		case w.UnderDays != nil:
			all = append(all, in.w("weights_under_days", in.format.Whole(*w.UnderDays), bounds))
		case w.UnderYears != nil:
			all = append(all, in.w("weights_under_years", in.format.Whole(*w.UnderYears), bounds))
		default:
			all = append(all, in.w("weights_else", bounds))
		}
	}
	if len(all) > 0 {
		return strings.Join(all, "; ")
	}
	for _, part := range v.Parts {
		text := ""
		switch value := part.Value.(type) {
		case nil:
			text = in.text("none")
		case float64:
			text = number(value)
		case []string:
			words := make([]string, len(value))
			for i, word := range value {
				words[i] = in.text(word)
			}
			text = strings.Join(words, ", ")
		default:
			text = in.text(value)
		}
		if part.Name != "" {
			text = in.text(part.Name) + " " + text
		}
		all = append(all, text)
	}
	return strings.Join(all, ", ")
}
