package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"thawline/internal/audit"
	"thawline/internal/contract"
	"thawline/internal/status"
	"thawline/internal/store"
)

type statusCommand struct {
	where
	Files  bool `help:"Name every export; the table else holds a line for each table."`
	Verify bool `help:"Read every file of the store and compare its SHA-256; say nothing else."`
	JSON   bool `name:"json" help:"All of it as JSON."`
}

// Run tells what stands in the store: sources and their sums, spans and gaps,
// problems by kind, and which layers are behind.
func (c *statusCommand) Run(ctx context.Context, s *streams) error {
	if c.Verify {
		return c.verify(ctx, s)
	}
	hospital, p, st, err := c.open(false)
	if err != nil {
		return err
	}
	defer st.Close()
	report, err := status.Of(ctx, st, hospital, p)
	if err != nil {
		return err
	}
	if c.JSON {
		return s.json(report)
	}
	c.tell(s.out, report)
	return nil
}

// verify holds every file of the store against the manifest.
func (c *statusCommand) verify(ctx context.Context, s *streams) error {
	_, _, st, err := c.openDamaged(false)
	if err != nil {
		return err
	}
	defer st.Close()
	var tell func(done, total int64)
	if bar := progress(s); bar != nil {
		tell = func(done, total int64) { bar("verify", done, total) }
	}
	damages, err := st.Verify(ctx, tell)
	if err != nil {
		return err
	}
	if c.JSON {
		if err := s.json(append([]store.Damage{}, damages...)); err != nil {
			return err
		}
	}
	if len(damages) > 0 {
		return &store.DamageError{Dir: st.Dir(), Damages: damages}
	}
	s.say("every file of the store is as it was written")
	return nil
}

// tell writes the state of the store for a person to read.
func (c *statusCommand) tell(out io.Writer, r *status.Report) {
	fmt.Fprintf(out, "store %s: %d exports\n\nSources\n", r.Store, len(r.Sources))
	w := tabwriter.NewWriter(out, 2, 4, 2, ' ', 0)
	if c.Files {
		fmt.Fprintln(w, "  table\texport\tdate\tread\taccepted\trejected\tset aside\treading\tversion")
		for _, src := range r.Sources {
			fmt.Fprintf(w, "  %s\t%s\t%s\t%d\t%d\t%d\t%d\t%.12s\t%s\n", src.Table, src.File, src.Date, src.Read, src.Accepted, src.Rejected, src.SetAside, src.Reading, versionOf(src))
		}
	} else {
		fmt.Fprintln(w, "  table\texports\tfirst date\tlast date\tread\taccepted\trejected\tset aside")
		for _, line := range byTable(r.Sources) {
			fmt.Fprintf(w, "  %s\t%s\t%d\t%d\t%d\t%d\n", line.Table, line.File, line.Read, line.Accepted, line.Rejected, line.SetAside)
		}
	}
	w.Flush()
	for _, back := range r.Withdrawn {
		fmt.Fprintf(out, "  withdrawn: %s (%s, %d rows read): not taken in again while it is the same\n", back.File, back.Table, back.Read)
	}

	fmt.Fprintln(out, "\nMonths (hospital's clock)")
	for _, span := range r.Spans {
		faults := span.Faults()
		switch {
		case span.Sparse:
			faults = []string{"too few to tell gaps from chance"}
		case faults == nil:
			faults = []string{"no gap"}
		}
		fmt.Fprintf(w, "  %s\t%s to %s\t%d rows\t%s\n", strings.TrimSpace(span.Table+" "+span.Part), span.First, span.Last, span.Rows, strings.Join(faults, "; "))
	}
	w.Flush()

	if len(r.Matched) > 0 {
		fmt.Fprintln(out, "\nPatients with plasma, issued it while the table has rows")
		for _, m := range r.Matched {
			fmt.Fprintf(w, "  %s\t%d of %d appear in it\n", m.Table, m.Patients, m.Of)
		}
		w.Flush()
		for _, m := range r.Matched {
			if m.Few() {
				fmt.Fprintf(out, "  WARNING: %s\n", m.Line())
			}
		}
	}

	fmt.Fprintln(out, "\nLayers")
	if r.Current == nil {
		fmt.Fprintln(out, "  current: none yet: run thawline ingest")
	}
	for _, line := range (audit.CurrentReport{Tables: r.Current}).Lines() {
		fmt.Fprintln(out, "  "+line)
	}
	if r.Behind.Current && r.Current != nil {
		fmt.Fprintln(out, "  current is behind the exports that were read: run thawline ingest")
	}
	if line := otherMaps(r.OtherMaps); line != "" {
		fmt.Fprintln(out, "  "+line)
	}
	switch {
	case r.Audit == nil:
		fmt.Fprintln(out, "  audit: none yet: run thawline mark")
	case r.Behind.Audit:
		fmt.Fprintf(out, "  audit: %s; it is behind the records or the policy: run thawline mark\n", marks(*r.Audit))
	default:
		fmt.Fprintf(out, "  audit: %s\n", marks(*r.Audit))
	}
	if len(r.Packs) > 0 {
		fmt.Fprintf(out, "  packs: %s\n", strings.Join(r.Packs, ", "))
	}

	fmt.Fprintln(out, "\nProblems")
	if len(r.Problems) == 0 {
		fmt.Fprintln(out, "  none")
		return
	}
	for _, k := range r.Problems {
		fmt.Fprintf(w, "  %s\t%d\tof %d kind%s\n", k.Severity, k.Rows, k.Kinds, map[bool]string{true: "", false: "s"}[k.Kinds == 1])
	}
	w.Flush()
	fmt.Fprintln(out, "  thawline problems shows each, with what to do about it")
}

// versionOf says of an export of which several versions came which one it is.
func versionOf(src status.Source) string {
	if src.Versions < 2 {
		return ""
	}
	text := fmt.Sprintf("%d of %d", src.Version, src.Versions)
	if src.Version == src.Versions {
		text += ", the newest"
	}
	if src.InInbox != nil && *src.InInbox {
		text += ", in the inbox"
	}
	return text
}

// byTable sums sources by table, in the order of the contract. File holds the
// number of exports, and their first and last date.
func byTable(sources []status.Source) []status.Source {
	var all []status.Source
	for _, t := range contract.Feeds() {
		sum := status.Source{Table: t.Name}
		n, first, last := 0, "", ""
		for _, src := range sources {
			if src.Table != t.Name {
				continue
			}
			n++
			if src.Date != "" && (first == "" || src.Date < first) {
				first = src.Date
			}
			last = max(last, src.Date)
			sum.Read, sum.Accepted, sum.Rejected, sum.SetAside = sum.Read+src.Read, sum.Accepted+src.Accepted, sum.Rejected+src.Rejected, sum.SetAside+src.SetAside
		}
		if n > 0 {
			sum.File = fmt.Sprintf("%d\t%s\t%s", n, first, last)
			all = append(all, sum)
		}
	}
	return all
}
