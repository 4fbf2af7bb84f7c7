package main

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/policy"
)

type describeCommand struct {
	Table string `arg:"" optional:"" help:"One table, or policy: the values by which episodes are judged; without it, a line for each table."`
	JSON  bool   `name:"json" help:"The data dictionary as JSON."`
}

// Run prints the contract: what any reader of the Parquet needs to know.
func (c *describeCommand) Run(s *streams) error {
	tables := contract.Tables()
	if c.Table == "policy" {
		return c.policy(s)
	}
	if c.Table != "" {
		t := contract.Find(c.Table)
		if t == nil {
			names := make([]string, len(tables))
			for i, t := range tables {
				names[i] = t.Name
			}
			return usageError{fmt.Errorf("table %q is not known; the tables are %s; policy lists the values of the policy", c.Table, strings.Join(names, ", "))}
		}
		tables = []*contract.Table{t}
	}
	if c.JSON {
		var all []json.RawMessage
		for _, t := range tables {
			all = append(all, json.RawMessage(contract.Dictionary(t, t.Columns)))
		}
		return s.json(all)
	}
	if c.Table == "" {
		for _, t := range tables {
			fmt.Fprintf(s.out, "%-16s %s\n", t.Name, t.Doc)
		}
		s.say("thawline describe TABLE shows its columns, thawline describe policy the values of the policy")
		return nil
	}
	t := tables[0]
	fmt.Fprintf(s.out, "%s: %s\nOne row: %s.\nKey: %s\n\n", t.Name, t.Doc, t.Row, strings.Join(t.Key, ", "))
	for _, column := range t.Columns {
		kind := column.Kind.String()
		if column.Unit != "" {
			kind += " in " + column.Unit
		}
		var notes []string
		if column.Required && !column.Derived {
			notes = append(notes, "required of an export")
		} else if column.Derived {
			notes = append(notes, "made by Thawline")
		}
		if column.Identifies {
			notes = append(notes, "identifies a person")
		}
		if column.CurrentOnly {
			notes = append(notes, "layer current only")
		}
		fmt.Fprintf(s.out, "  %-28s %-16s %s", column.Name, kind, column.Doc)
		if len(notes) > 0 {
			fmt.Fprintf(s.out, " (%s)", strings.Join(notes, "; "))
		}
		fmt.Fprintln(s.out)
		if len(column.Codes) > 0 && !slices.Equal(column.Codes, []string{"cancelled"}) {
			own := ""
			if !column.Derived && slices.Contains(contract.Feeds(), t) {
				own = "; local codes are mapped under " + column.Name + ": in the feed"
			}
			fmt.Fprintf(s.out, "  %-28s %-16s codes: %s%s\n", "", "", strings.Join(column.Codes, ", "), own)
		}
	}
	return nil
}

// policy prints every value that policy.yaml may state, with its default.
func (c *describeCommand) policy(s *streams) error {
	p, err := policy.Load("")
	if err != nil {
		return err
	}
	if c.JSON {
		return s.json(policy.Known())
	}
	for _, v := range policy.Known() {
		unit := ""
		if v.Unit != "" && v.Unit != "1" {
			unit = " " + v.Unit
		}
		fmt.Fprintf(s.out, "%s: %s%s\n    wanted: %s\n    source: %s\n", v.Name, v.Default, unit, v.Wanted, v.Source)
		if len(v.Others) > 0 {
			fmt.Fprintf(s.out, "    others: %s\n", strings.Join(v.Others, "; "))
		}
	}
	s.say("%d values. policy.yaml holds those that differ, each as NAME: VALUE, or as NAME: {value: …, source: …, approved: {by: …, on: 2026-01-31}}", len(p.Values()))
	return nil
}
