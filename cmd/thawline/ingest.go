package main

import (
	"context"
	"errors"
	"fmt"
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
	return shortfalls(hospital, st, arrived(st, report), "").asError()
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
	return report, errors.Join(failed, sayYields(ctx, s, st, report), sayUnmatched(ctx, s, st))
}

// sayOtherMaps warns where site.yaml has other maps than those by which exports were
// read, and says whether it has.
func sayOtherMaps(s *streams, hospital *site.Site, st *store.Store) bool {
	line := otherMaps(status.OtherMaps(hospital, st))
	if line != "" {
		s.say("%s", line)
	}
	return line != ""
}

// otherMaps says of n exports that site.yaml has other maps for them, or nothing.
func otherMaps(n int) string {
	switch n {
	case 0:
		return ""
	case 1:
		return "site.yaml has another map than that by which 1 file was read: run thawline ingest, which reads it anew"
	}
	return fmt.Sprintf("site.yaml has other maps than those by which %d files were read: run thawline ingest, which reads them anew", n)
}

// sayYields notes which files that were read now do not win over those that were
// there before them.
func sayYields(ctx context.Context, s *streams, st *store.Store, report ingest.Report) error {
	fresh := map[string]bool{}
	for _, f := range report.Files {
		if !f.Unchanged {
			fresh[f.Reading] = true
		}
	}
	all, err := audit.Yields(ctx, st, fresh)
	for _, y := range all {
		s.say("note: %s", y.Line())
	}
	return err
}

// sayUnmatched warns of tables that know none, or hardly any, of the patients with
// plasma: nothing else about such a feed looks wrong.
func sayUnmatched(ctx context.Context, s *streams, st *store.Store) error {
	all, err := audit.MatchedPatients(ctx, st, false)
	for _, m := range all {
		if m.Few() {
			s.say("WARNING: %s", m.Line())
		}
	}
	return err
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
