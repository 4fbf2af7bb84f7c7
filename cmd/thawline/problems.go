package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/status"
)

type problemsCommand struct {
	where
	Table    []string `placeholder:"TABLE" help:"Only of this table (issues, labs, …). May be given more than once."`
	File     []string `placeholder:"NAME" help:"Only of this export: its base name, or a pattern (coag_2026-*). May be given more than once."`
	Severity []string `placeholder:"WORD" help:"Only of this severity: rejected, set-aside, dropped, suspect, unmapped, noted. May be given more than once."`
	All      bool     `help:"All of them; the table else shows the 20 most frequent of each severity. CSV and JSON always hold all."`
	format
}

// shownOfSeverity keeps the table to a few screens.
const shownOfSeverity = 20

// Run lists what is wrong with the rows of the exports, and what to do about
// it. It shows codes and places, and no value that points to a person.
func (c *problemsCommand) Run(ctx context.Context, s *streams) error {
	var tables []string
	for _, t := range contract.Feeds() {
		tables = append(tables, t.Name)
	}
	if err := known("table", c.Table, tables); err != nil {
		return err
	}
	severities := slices.Clone(c.Severity)
	for i, word := range severities {
		severities[i] = strings.ReplaceAll(word, "-", " ")
	}
	if err := known("severity", severities, status.Severities); err != nil {
		return err
	}
	hospital, _, st, err := c.open(false)
	if err != nil {
		return err
	}
	defer st.Close()
	readings, err := status.Filter{Tables: c.Table, Files: c.File}.Readings(st.Readings())
	if err != nil {
		return usageError{err}
	}
	if len(readings) == 0 && len(st.Readings()) > 0 {
		return usageError{errors.New("no export in the store is of that table and name: thawline status lists them")}
	}
	problems, err := status.Problems(ctx, status.NewGuard(hospital, st.Readings()), readings, severities...)
	if err != nil {
		return err
	}
	switch c.Format {
	case "json":
		if problems == nil {
			problems = []status.Problem{}
		}
		return s.json(problems)
	case "csv":
		names := []string{"severity", "rows", "table", "column", "reason", "files", "first", "examples", "next"}
		var rows [][]any
		for _, p := range problems {
			rows = append(rows, []any{p.Severity, p.Rows, p.Table, p.Column, p.Reason, p.Files, strings.Join(p.First, ", "), strings.Join(p.Examples, ", "), p.Next})
		}
		return writeCSV(s.out, names, rows)
	}
	most := shownOfSeverity
	if c.All {
		most = len(problems)
	}
	writeProblems(s.out, problems, most, "--all")
	rejected, aside, read := int64(0), int64(0), int64(0)
	for _, r := range readings {
		rejected, aside, read = rejected+r.Rejected, aside+r.SetAside, read+r.Read
	}
	s.say("%d kinds of problem; of %d rows read in %d exports %d were rejected and %d set aside", len(problems), read, len(readings), rejected, aside)
	return nil
}

// writeProblems writes problems for a person to read: what and where on a first
// line, where to look and what to do on the next. At most shown of each severity
// are written; flag shows the others.
func writeProblems(out io.Writer, problems []status.Problem, shown int, flag string) {
	wide, most := 0, len("rows")
	for _, p := range problems {
		wide, most = max(wide, len(p.Table+"."+p.Column)), max(most, len(fmt.Sprint(p.Rows)))
	}
	const indent = "           "
	of := map[string]int{}
	for i, p := range problems {
		of[p.Severity]++
		if of[p.Severity] <= shown {
			fmt.Fprintf(out, "%-9s  %*d  %-*s  %s\n", p.Severity, most, p.Rows, wide, p.Table+"."+p.Column, p.Reason)
			where := "first " + strings.Join(p.First, ", ")
			if more := p.Files - len(p.First); more > 0 {
				where += fmt.Sprintf(", and %d more files", more)
			}
			if len(p.Examples) > 0 {
				where += "; written: " + strings.Join(p.Examples, ", ")
			}
			fmt.Fprintf(out, "%s%s\n%snext: %s\n", indent, where, indent, p.Next)
		}
		if last := i+1 == len(problems) || problems[i+1].Severity != p.Severity; last && of[p.Severity] > shown {
			fmt.Fprintf(out, "%sand %d more kinds %s: %s shows them\n", indent, of[p.Severity]-shown, p.Severity, flag)
		}
	}
}

// known checks words of the command line against those that there are.
func known(what string, words, all []string) error {
	for _, word := range words {
		if !slices.Contains(all, word) {
			return usageError{fmt.Errorf("%s %q is not known; wanted one of %s", what, word, strings.Join(all, ", "))}
		}
	}
	return nil
}
