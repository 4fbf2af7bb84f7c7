package pack

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
)

// triedValue is a value of the policy under which the episodes are judged again,
// or the site's own.
type triedValue struct {
	policy.OtherValue
	// own says that it is the site's on all dates; dated that the site's own
	// value is not the same on all dates, and Setting is none.
	own, dated bool
}

// code names it in figures: dose_low=12.
func (v triedValue) code() string {
	if v.dated {
		return v.Column + "=dated"
	}
	return v.Column + "=" + strconv.FormatFloat(v.Setting, 'f', -1, 64)
}

// tried lists the values that are tried, each ladder in order of its steps, the
// site's own value among them; values for which the policy leaves no room are
// left out.
func tried(p *policy.Policy) ([]triedValue, error) {
	others, err := policy.OtherValues()
	if err != nil {
		return nil, err
	}
	var all []triedValue
	for _, other := range others {
		own, always := p.Always(other.Column)
		if !slices.ContainsFunc(all, func(v triedValue) bool { return v.Column == other.Column }) {
			all = append(all, triedValue{OtherValue: policy.OtherValue{Column: other.Column, Setting: own}, own: always, dated: !always})
		}
		if p.Tries(other) {
			all = append(all, triedValue{OtherValue: other})
		}
	}
	place := map[string]int{}
	for i, v := range all {
		if _, found := place[v.Column]; !found {
			place[v.Column] = i
		}
	}
	slices.SortStableFunc(all, func(a, b triedValue) int {
		switch {
		case a.Column != b.Column:
			return place[a.Column] - place[b.Column]
		case a.dated != b.dated:
			return map[bool]int{true: -1, false: 1}[a.dated]
		}
		return cmp.Compare(a.Setting, b.Setting)
	})
	return all, nil
}

// loadTried makes the table tried_values.
func (in *input) loadTried(ctx context.Context, e *engine.Engine) error {
	all, err := tried(in.policy)
	if err != nil {
		return err
	}
	decimals := map[string]int{}
	for _, v := range all {
		_, after, _ := strings.Cut(strconv.FormatFloat(v.Setting, 'f', -1, 64), ".")
		decimals[v.Column] = max(decimals[v.Column], len(after))
	}
	var rows [][]any
	for i, v := range all {
		var setting any
		says := in.w("what_if_dated_" + v.Column)
		if !v.dated {
			setting = v.Setting
			// A limit of 2 is written 2.0 beside one of 1.8.
			says = in.w("what_if_"+v.Column, in.format.Fixed(v.Setting, decimals[v.Column]))
		}
		if v.own || v.dated {
			says = in.w("the_sites_own", says)
		}
		rows = append(rows, []any{int64(i), v.code(), says, v.Column, setting, v.own || v.dated})
	}
	return e.Load(ctx, "tried_values", []contract.Column{{Name: "place", Kind: contract.Int}, {Name: "tried"}, {Name: "what_if"},
		{Name: "value"}, {Name: "setting", Kind: contract.Real}, {Name: "own", Kind: contract.Bool}}, rows)
}
