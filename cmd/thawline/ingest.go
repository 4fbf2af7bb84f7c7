package main

import (
	"context"
	"errors"
	"runtime/debug"
	"slices"

	"thawline/internal/audit"
	"thawline/internal/ingest"
	"thawline/internal/site"
	"thawline/internal/status"
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
		report.Files = shownFiles(status.NewGuard(hospital, st.Readings()), report.Files)
		if err := s.json(report); err != nil {
			return err
		}
	}
	return joined(shortfalls(hospital, st))
}

// readIn is ingest: exports to sources, sources to current. Files that fail
// leave the store as it was; the others are taken, and current follows them.
func readIn(ctx context.Context, s *streams, hospital *site.Site, st *store.Store) (ingest.Report, error) {
	report, failed := ingest.Run(ctx, hospital, st, progress(s))
	if err := sayFiles(ctx, s, hospital, st, report); err != nil && failed == nil {
		return report, err
	}
	if failed != nil && ctx.Err() != nil {
		return report, failed
	}
	// What reading has used would stand beside what the engine takes.
	debug.FreeOSMemory()
	current, err := audit.Current(ctx, st, hospital)
	if err != nil {
		// What was wrong with files does not go away because more is wrong.
		return report, errors.Join(failed, err)
	}
	for _, line := range current.Lines() {
		s.say("%s", line)
	}
	return report, failed
}

// shownFiles gives the sums of files without codes that may point to a person.
func shownFiles(guard *status.Guard, files []ingest.FileReport) []ingest.FileReport {
	files = slices.Clone(files)
	for i := range files {
		f := &files[i]
		f.SetAsideCodes, f.Unmapped = guard.ShownCodes(f.Table, f.SetAsideCodes, f.Unmapped)
	}
	return files
}
