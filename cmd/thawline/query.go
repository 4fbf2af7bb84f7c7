package main

import (
	"context"
	"errors"
	"fmt"

	"thawline/internal/audit"
	"thawline/internal/engine"
)

type queryCommand struct {
	where
	SQL string `arg:"" help:"One SELECT over the tables of the store (thawline describe)."`
	format
}

// Run answers one SELECT over the layers current and audit. The result goes to
// the person who asked, who has the store: it may identify patients.
func (c *queryCommand) Run(ctx context.Context, s *streams) error {
	site, p, st, err := c.open(false)
	if err != nil {
		return err
	}
	defer st.Close()
	e, err := audit.OpenReader(ctx, st, site)
	if err != nil {
		return err
	}
	defer e.Close()
	if err := audit.PolicyTables(ctx, e, p); err != nil {
		return err
	}
	names, rows, err := e.Select(ctx, "your query", c.SQL)
	if failed := (*engine.Error)(nil); errors.As(err, &failed) && failed.Failed {
		return fmt.Errorf("%w; thawline status --verify tells whether a file of the store is damaged", err)
	}
	if err != nil {
		return usageError{err}
	}
	return c.write(s, names, rows)
}
