package main

import (
	"context"
	"fmt"
	"sort"
	"strings"

	"thawline/internal/audit"
	"thawline/internal/ingest"
	"thawline/internal/site"
	"thawline/internal/store"
)

type ingestCommand struct {
	where
	JSON bool `name:"json" help:"The sums of each file as JSON."`
}

// Run reads what is new and brings current up to date.
func (c *ingestCommand) Run(ctx context.Context, s *streams) error {
	hospital, _, st, err := c.open(true)
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
	return shortfalls(hospital, report)
}

// readIn is ingest: exports to sources, sources to current. Files that fail
// leave the store as it was; the others are taken, and current follows them.
func readIn(ctx context.Context, s *streams, hospital *site.Site, st *store.Store) (ingest.Report, error) {
	report, failed := ingest.Run(ctx, hospital, st, progress(s))
	sayFiles(s, report)
	if failed != nil && ctx.Err() != nil {
		return report, failed
	}
	current, err := audit.Current(ctx, st, hospital)
	if err != nil {
		return report, err
	}
	for _, line := range current.Lines() {
		s.say("%s", line)
	}
	return report, failed
}

// sayFiles prints the sums of each file that was read, and the codes that no
// map knows.
func sayFiles(s *streams, report ingest.Report) {
	unchanged := 0
	for _, f := range report.Files {
		if f.Unchanged {
			unchanged++
			continue
		}
		s.say("%s: %d rows read = %d accepted + %d rejected + %d set aside", f.File, f.Read, f.Accepted, f.Rejected, f.SetAside)
	}
	if unchanged > 0 {
		s.say("%d files unchanged", unchanged)
	}
	for _, note := range report.Notes {
		s.say("note: %s", note)
	}
	codes := map[string]int64{}
	for _, f := range report.Files {
		for code, count := range f.SetAsideCodes {
			codes[code] += count.Count
		}
	}
	if len(codes) > 0 {
		var lines []string
		for code, count := range codes {
			lines = append(lines, fmt.Sprintf("%s (%d)", code, count))
		}
		sort.Strings(lines)
		s.say("codes in no map, set aside: %s", strings.Join(lines, ", "))
	}
}

// shortfalls says which completeness limits were missed; a product code set
// aside is always said.
func shortfalls(hospital *site.Site, report ingest.Report) error {
	var reasons []string
	products := map[string]int64{}
	var read, rejected int64
	for _, f := range report.Files {
		read, rejected = read+f.Read, rejected+f.Rejected
		for code, count := range f.SetAsideCodes {
			if name, found := strings.CutPrefix(code, "product_code="); found {
				products[name] += count.Count
			}
		}
	}
	names := make([]string, 0, len(products))
	for name := range products {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		reasons = append(reasons, fmt.Sprintf("product code %q is in no product map: %d rows set aside; add it under products: in site.yaml, or plasma may be missing", name, products[name]))
	}
	if limit := hospital.Limits.RejectedShare; limit != nil && read > 0 && float64(rejected)/float64(read) > *limit {
		reasons = append(reasons, fmt.Sprintf("%d of %d rows rejected, over the site's rejected_share %g", rejected, read, *limit))
	}
	if reasons != nil {
		return &incompleteError{reasons}
	}
	return nil
}
