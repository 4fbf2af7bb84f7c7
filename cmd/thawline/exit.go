package main

import (
	"context"
	"errors"

	"thawline/internal/audit"
	"thawline/internal/figure"
	"thawline/internal/ingest"
	"thawline/internal/pack"
	"thawline/internal/policy"
	"thawline/internal/site"
)

// exitCode is what the program tells the shell.
type exitCode int

// The exit codes. Help, README and tests are checked against this table.
const (
	exitDone        exitCode = 0
	exitFailed      exitCode = 1
	exitWrong       exitCode = 2
	exitIncomplete  exitCode = 3
	exitInterrupted exitCode = 130
)

// exitCodes says what each code means, in the order in which they are shown.
var exitCodes = []struct {
	Code  exitCode
	Means string
}{
	{exitDone, "done"},
	{exitFailed, "failed: the error says where and what to do next"},
	{exitWrong, "wrong command line or configuration"},
	{exitIncomplete, "done, but a completeness limit of the site was missed or a product code was set aside"},
	{exitInterrupted, "interrupted"},
}

// usageError is a fault in the command line.
type usageError struct{ error }

// incompleteError says what was done but falls short of a limit of the site.
type incompleteError struct{ reasons []pack.Reason }

func (e *incompleteError) Error() string {
	text := "done, but incomplete:"
	for _, r := range e.reasons {
		text += "\n  " + r.Say(figure.Format{})
	}
	return text
}

// codeOf maps an error to its exit code. The code depends on the outcome alone,
// never on the form of output.
func codeOf(err error) exitCode {
	var (
		usage      usageError
		incomplete *incompleteError
		siteFaults *site.Faults
		policyErr  *policy.Faults
		ruleFaults *audit.RuleFaults
	)
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, context.Canceled):
		return exitInterrupted
	case errors.As(err, &usage), errors.As(err, &siteFaults), errors.As(err, &policyErr), errors.As(err, &ruleFaults), ingest.IsConfiguration(err):
		return exitWrong
	case errors.As(err, &incomplete):
		return exitIncomplete
	}
	return exitFailed
}
