package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"thawline/internal/inspect"
)

type inspectCommand struct {
	Files    []string `arg:"" optional:"" name:"file" help:"Exports to look at."`
	Rows     int64    `default:"100000" help:"How many rows of each file are looked at; 0 is all."`
	Codes    []string `placeholder:"COLUMN" help:"A column of which you know that it holds codes and no names: the common ones are shown whatever they look like. May be given more than once."`
	Hospital string   `placeholder:"NAME" help:"The hospital's name, for the proposed site.yaml."`
	Zone     string   `placeholder:"NAME" help:"Its time zone (Europe/Dublin), for the proposed site.yaml."`
	JSON     bool     `name:"json" help:"The findings as JSON in place of the proposed site.yaml."`
}

// Run looks at exports that no map describes yet, and proposes one. It writes
// nothing but its output.
func (c *inspectCommand) Run(ctx context.Context, s *streams) error {
	if len(c.Files) == 0 {
		return usageError{errors.New("name the exports to look at: thawline inspect inbox/* > site.yaml")}
	}
	found, err := inspect.Files(ctx, c.Files, inspect.Options{Rows: c.Rows, Vouched: c.Codes})
	if err != nil {
		return err
	}
	for _, line := range found.Lines() {
		s.say("%s", line)
	}
	if len(found.Feeds) == 0 {
		return fmt.Errorf("none of %d files could be read as an export: see above", len(found.Refused))
	}
	if c.JSON {
		return s.json(found)
	}
	fmt.Fprint(s.out, found.Proposal(inspect.Site{Hospital: strings.TrimSpace(c.Hospital), Zone: strings.TrimSpace(c.Zone)}))
	s.say("Next: put the lines above into site.yaml, fill in what it asks for, then thawline inspect --site site.yaml shows what would be read")
	return nil
}
