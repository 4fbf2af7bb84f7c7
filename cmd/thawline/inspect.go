package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"

	"thawline/internal/contract"
	"thawline/internal/ingest"
	"thawline/internal/inspect"
	"thawline/internal/site"
	"thawline/internal/status"
)

type inspectCommand struct {
	Files    []string `arg:"" optional:"" name:"file" help:"Exports to look at."`
	Site     string   `type:"path" placeholder:"FILE" help:"In place of exports: read all that this site.yaml names and say what would be taken. Writes nothing."`
	Rows     int64    `default:"100000" help:"How many rows of each export are looked at; 0 is all."`
	Codes    []string `placeholder:"COLUMN" help:"A column of which you know that it holds codes and no names: the common ones are shown whatever they look like. May be given more than once."`
	Hospital string   `placeholder:"NAME" help:"The hospital's name, for the proposed site.yaml."`
	Zone     string   `placeholder:"NAME" help:"Its time zone (Europe/Dublin), for the proposed site.yaml."`
	EachFile bool     `name:"each" help:"With --site: name every export; else many are summed by table."`
	JSON     bool     `name:"json" help:"The findings as JSON."`
}

// Run looks at exports that no map describes yet and proposes one, or says what
// a map would make of them. It writes nothing but its output.
func (c *inspectCommand) Run(ctx context.Context, s *streams) error {
	switch {
	case c.Site != "" && len(c.Files) > 0:
		return usageError{errors.New("name exports to look at, or --site to try the exports that it names, not both")}
	case c.Site != "":
		return c.try(ctx, s)
	case len(c.Files) == 0:
		return usageError{errors.New("name the exports to look at (thawline inspect inbox/* > site.yaml), or a site.yaml to try (thawline inspect --site site.yaml)")}
	}
	found, err := inspect.Files(ctx, c.Files, inspect.Options{Rows: c.Rows, Vouched: c.Codes, Progress: progress(s)})
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
	s.say("Next: put the lines above into site.yaml, fill in what it asks for; then thawline inspect --site site.yaml shows what would be taken")
	return nil
}

// trial is what a try comes to, for a program to read.
type trial struct {
	Files    []ingest.FileReport `json:"files"`
	Problems []status.Problem    `json:"problems"`
	Notes    []string            `json:"notes"`
}

// try reads what a site file names as ingest would, and tells what would become
// of it.
func (c *inspectCommand) try(ctx context.Context, s *streams) error {
	hospital, err := site.Load(c.Site)
	if err != nil {
		return err
	}
	found, failed := ingest.Try(ctx, hospital, progress(s), status.MayShow)
	if ctx.Err() != nil {
		return failed
	}
	guard := status.NewGuard(hospital, found.Readings)
	problems := status.Trial(guard, found.Readings, found.Problems)
	if c.JSON {
		if err := s.json(trial{shownFiles(guard, found.Files), problems, found.Notes}); err != nil {
			return err
		}
		return failed
	}
	c.sums(s, found.Files)
	if len(problems) > 0 {
		fmt.Fprintln(s.out)
		writeProblems(s.out, problems, shownOfSeverity, "--json")
	}
	sayCounted(s, found.Files)
	for _, note := range found.Notes {
		s.say("note: %s", note)
	}
	if failed != nil {
		return failed
	}
	s.say("Nothing was written. %s", nextOfTrial(problems))
	return nil
}

// namedFiles is how many exports are named one by one without being asked for.
const namedFiles = 30

// sums writes what each export gave, or, where there are many, those of a table.
func (c *inspectCommand) sums(s *streams, files []ingest.FileReport) {
	w := tabwriter.NewWriter(s.out, 2, 4, 2, ' ', 0)
	defer w.Flush()
	line := func(table, export string, f ingest.FileReport) {
		fmt.Fprintf(w, "%s\t%s\t%d\t%d\t%d\t%d\n", table, export, f.Read, f.Accepted, f.Rejected, f.SetAside)
	}
	fmt.Fprintln(w, "table\texport\tread\taccepted\trejected\tset aside")
	if c.EachFile || len(files) <= namedFiles {
		for _, f := range files {
			line(f.Table, f.File, f)
		}
		return
	}
	for _, t := range contract.Feeds() {
		n, sum := 0, ingest.FileReport{}
		for _, f := range files {
			if f.Table == t.Name {
				n++
				sum.Read, sum.Accepted, sum.Rejected, sum.SetAside = sum.Read+f.Read, sum.Accepted+f.Accepted, sum.Rejected+f.Rejected, sum.SetAside+f.SetAside
			}
		}
		if n > 0 {
			line(t.Name, fmt.Sprintf("%d exports (--each names them)", n), sum)
		}
	}
}

// countedWords says what was done to single times, numbers and cells.
var countedWords = []struct{ name, says string }{
	{"skipped_hours", "times that the clock skips, which cannot be read"},
	{"repeated_hours", "times in the hour that the clock repeats, set by the order of events or to the earlier reading"},
	{"times_set_equal", "times up to 10 minutes out of order, set equal"},
	{"dates_without_time_dropped", "starts or ends told as a date alone, left empty"},
	{"texts_not_listed", "results with a longer text in place of a number, kept as other"},
	{"unit_not_stated", "results without a unit, their values left empty"},
	{"unit_not_of_the_test", "results in a unit that is none of the test, their values left empty"},
	{"ratios_without_mean_normal", "clotting times without a mean normal time, so without a ratio"},
}

func sayCounted(s *streams, files []ingest.FileReport) {
	counted := map[string]int64{}
	for _, f := range files {
		for name, n := range f.Counted {
			counted[name] += n
		}
	}
	for _, c := range countedWords {
		if n := counted[c.name]; n > 0 {
			s.say("%d %s", n, c.says)
		}
	}
}

// nextOfTrial says what to do after a trial.
func nextOfTrial(problems []status.Problem) string {
	open := map[string]int64{}
	for _, p := range problems {
		open[p.Severity] += p.Rows
		if p.Severity == status.SetAside && p.Column == "product_code" {
			open["products"] += p.Rows
		}
	}
	switch {
	case open["products"] > 0:
		return "Next: name the product codes above under products: in site.yaml, or their units are left out; then thawline inspect --site again"
	case len(problems) > 0:
		return "Next: amend site.yaml until what is rejected, set aside or unmapped is none of your business; then thawline audit"
	}
	return "Next: thawline audit"
}
