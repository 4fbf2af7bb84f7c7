package main

import (
	"context"
	"runtime/debug"

	"thawline/internal/audit"
	"thawline/internal/ingest"
	"thawline/internal/site"
	"thawline/internal/store"
)

type ingestCommand struct {
	where
	Rebuild bool `help:"Make current (and, by thawline mark, audit) anew from all readings: where a file of theirs is damaged."`
	JSON    bool `name:"json" help:"The sums of each file as JSON."`
}

// Run reads what is new and brings current up to date.
func (c *ingestCommand) Run(ctx context.Context, s *streams) error {
	hospital, _, st, err := c.openWhole(c.Rebuild, "current", "audit")
	if err != nil {
		return err
	}
	defer st.Close()
	report, err := readIn(ctx, s, hospital, st)
	if err != nil {
		return err
	}
	if c.JSON {
		if err := s.json(report); err != nil {
			return err
		}
	}
	return shortfalls(hospital, st, arrived(st, report), "the files of this run").asError()
}

// readIn is ingest: exports to sources, sources to current. Files that fail
// leave the store as it was; the others are taken, and current follows them.
func readIn(ctx context.Context, s *streams, hospital *site.Site, st *store.Store) (ingest.Report, error) {
	report, failed := ingest.Run(ctx, hospital, st, progress(s))
	if err := sayFiles(ctx, s, st, report); err != nil && failed == nil {
		return report, err
	}
	if failed != nil && ctx.Err() != nil {
		return report, failed
	}
	// What reading has used would stand beside what the engine takes.
	debug.FreeOSMemory()
	current, err := audit.Current(ctx, st, hospital)
	if err != nil {
		return report, err
	}
	for _, line := range current.Lines() {
		s.say("%s", line)
	}
	return report, failed
}
