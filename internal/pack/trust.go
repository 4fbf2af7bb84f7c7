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
	Rows   []trustRow
}

// trustRow is what was read of a table; NotMapped says how many rows have a code that
// is in no map, and of how many codes.
type trustRow struct {
	Source
	NotMapped string
}

type judged struct {
	// Terms are words that the page uses, and what they mean.
	Terms   []fact
	Heads   []string
	Table   [][]string
	Values  []policy.Value
	Sources []Source
	Hashes  []policyHash
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
			told := in.format.Whole(s.Unmapped)
			if codes := len(in.unmapped[table.Name]); codes > 0 {
				told = in.w("not_mapped_codes", told, in.format.Whole(int64(codes)))
			}
			t.Rows = append(t.Rows, trustRow{*s, told})
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
	j := &judged{Terms: in.terms(), Values: in.policy.Values(), Sources: in.sources}
	for _, c := range table.Columns() {
		j.Heads = append(j.Heads, strings.ReplaceAll(c.Name, "_", " "))
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
	for i := range j.Values {
		switch v := &j.Values[i]; v.Unit {
		case "a", "mo":
			v.Unit = in.w("unit_" + v.Unit)
		case "1":
			v.Unit = ""
		}
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
