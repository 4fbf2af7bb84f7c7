package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"thawline/internal/audit"
	"thawline/internal/policy"
)

type compareCommand struct {
	where
	Policy string `type:"path" placeholder:"FILE" help:"The other policy, whole: what it does not state is the default, not the site's own value. Without it the site's own."`
	Marks  string `type:"path" placeholder:"FILE" help:"The other decision table. Without it the one that the other policy goes by."`
	JSON   bool   `name:"json" help:"As JSON."`
}

// Run judges the records as they stand in the store by two policies, and tells
// which episodes change their mark. The store stays as it is.
func (c *compareCommand) Run(ctx context.Context, s *streams) error {
	if c.Policy == "" && c.Marks == "" {
		return usageError{errors.New("nothing to compare with: name another policy (--policy FILE), another decision table (--marks FILE), or both")}
	}
	hospital, own, st, err := c.open(false)
	if err != nil {
		return err
	}
	defer st.Close()
	otherPath := c.Policy
	if otherPath == "" {
		otherPath = hospital.Policy
	}
	other, err := policy.Load(otherPath)
	if err != nil {
		return usageError{fmt.Errorf("--policy: %w", err)}
	}
	if c.Marks != "" {
		other.TablePath = c.Marks
	}
	if _, err := other.Table(); err != nil {
		return usageError{fmt.Errorf("the other decision table: %w", err)}
	}
	comparison, err := audit.Compare(ctx, st, hospital, own, other)
	if err != nil {
		return err
	}
	if c.JSON {
		return s.json(comparison)
	}
	tell(s.out, comparison)
	s.say("\n%s", cautions)
	return nil
}

// tell writes a comparison for a person to read.
func tell(out io.Writer, c *audit.Comparison) {
	table := func(title string, header []string, rows [][]string) {
		if len(rows) == 0 {
			return
		}
		fmt.Fprintf(out, "\n%s\n", title)
		w := tabwriter.NewWriter(out, 2, 4, 2, ' ', 0)
		for _, row := range append([][]string{header}, rows...) {
			fmt.Fprintln(w, "  "+strings.Join(row, "\t"))
		}
		w.Flush()
	}
	fmt.Fprintf(out, "%d episodes under both policies = %d keep their mark + %d change it\n", c.Episodes, c.Episodes-c.Changed, c.Changed)
	if c.Rebuilt {
		fmt.Fprintf(out, "Values differ by which episodes are built: each side built its own. Only under the own policy: %d; only under the other: %d.\n", len(c.OnlyOwn), len(c.OnlyOther))
	}
	if c.TableDiffers {
		fmt.Fprintln(out, "The decision tables differ.")
	}
	if len(c.Values) == 0 && !c.TableDiffers {
		fmt.Fprintln(out, "The policies and the decision tables are the same.")
	}
	var values, moves, changes [][]string
	for _, v := range c.Values {
		use := "judges"
		if v.Builds {
			use = "builds episodes"
		}
		values = append(values, []string{v.Name, strings.Join(v.Own, "; "), strings.Join(v.Other, "; "), use})
	}
	table("Values that differ", []string{"value", "own", "other", "use"}, values)
	for _, m := range c.Moves {
		moves = append(moves, []string{m.From, m.To, fmt.Sprint(m.Episodes)})
	}
	table("Marks that change", []string{"from", "to", "episodes"}, moves)
	for _, m := range c.Changes {
		changes = append(changes, []string{m.Episode, m.From, m.To, fmt.Sprintf("row %d: %s", m.ToRow, m.ToBecause)})
	}
	table("Episodes that change (thawline explain tells each under the own policy)", []string{"episode", "from", "to", "because"}, changes)
	for _, side := range []struct {
		title    string
		episodes []audit.MarkedEpisode
	}{{"Episodes under the own policy alone", c.OnlyOwn}, {"Episodes under the other policy alone", c.OnlyOther}} {
		var rows [][]string
		for _, e := range side.episodes {
			rows = append(rows, []string{e.Episode, e.Mark, e.Because})
		}
		table(side.title, []string{"episode", "mark", "because"}, rows)
	}
}
