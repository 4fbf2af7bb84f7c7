package main

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"thawline/internal/contract"
)

type describeCommand struct {
	Table string `arg:"" optional:"" help:"One table; without it, a line for each."`
	JSON  bool   `name:"json" help:"The data dictionary as JSON."`
}

// Run prints the contract: what any reader of the Parquet needs to know.
func (c *describeCommand) Run(s *streams) error {
	tables := contract.Tables()
	if c.Table != "" {
		t := contract.Find(c.Table)
		if t == nil {
			names := make([]string, len(tables))
			for i, t := range tables {
				names[i] = t.Name
			}
			return usageError{fmt.Errorf("table %q is not known; the tables are %s", c.Table, strings.Join(names, ", "))}
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
		s.say("thawline describe TABLE shows its columns")
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
