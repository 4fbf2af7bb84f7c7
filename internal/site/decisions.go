package site

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/goccy/go-yaml/ast"
)

// DecisionsFile is the name of the file, beside site.yaml, in which a site
// keeps what its committee decided.
const DecisionsFile = "decisions.yaml"

// Decision is one decision of a committee.
type Decision struct {
	// Line is its line in the file.
	Line int
	// Date, Due and Done are local days, as UTC midnights; Due and Done may be zero.
	Date, Due, Done time.Time
	// Decision is what was decided, Owner the role that sees to it.
	Decision, Owner string
	// Figure names the figure that it aims at, or is empty.
	Figure string
}

var decisionKeys = []string{"date", "decision", "owner", "due", "done", "figure"}

// LoadDecisions reads decisions.yaml beside the site file, in order of date. A
// site without the file has none. figures names what a decision may aim at.
// What is wrong comes back as *Faults, all of it.
func (s *Site) LoadDecisions(figures []string) ([]Decision, error) {
	path := filepath.Join(s.Dir, DecisionsFile)
	l := &loader{site: &Site{}, faults: Faults{File: path}, anchors: map[string]ast.Node{}}
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	data, err := l.read(path, "make it readable, or move it away")
	if err != nil {
		return nil, err
	}
	top, _ := l.top(data, []string{"decisions"}, "one list of decisions a file")
	var all []Decision
	if e, stated := top["decisions"]; stated {
		list, ok := l.plain(e.value).(*ast.SequenceNode)
		if !ok {
			l.fault(e.place(), "decisions: found %s, wanted a list of {date: 2026-03-10, decision: ..., owner: ...}", l.found(e.value))
		} else {
			for _, node := range list.Values {
				if one, ok := l.decision(entry{"decisions", e.at, node}, figures); ok {
					all = append(all, one)
				}
			}
		}
	}
	slices.SortStableFunc(all, func(a, b Decision) int { return a.Date.Compare(b.Date) })
	return all, l.sorted()
}

func (l *loader) decision(item entry, figures []string) (Decision, bool) {
	before := len(l.faults.List)
	d := Decision{Line: item.place().Line}
	fields, ok := l.fields("decisions", item.place(), item.value, decisionKeys)
	if !ok {
		return d, false
	}
	for _, name := range []string{"date", "decision", "owner"} {
		if _, stated := fields[name]; !stated {
			l.fault(item.place(), "decisions: found no %s, wanted date, decision and owner (a role)", name)
		}
	}
	for name, into := range map[string]*string{"decision": &d.Decision, "owner": &d.Owner, "figure": &d.Figure} {
		if f, stated := fields[name]; stated {
			*into = l.word(f, "words")
		}
	}
	for name, into := range map[string]*time.Time{"date": &d.Date, "due": &d.Due, "done": &d.Done} {
		if f, stated := fields[name]; stated {
			*into, _ = l.day(f)
		}
	}
	for _, name := range []string{"due", "done"} {
		day := map[string]time.Time{"due": d.Due, "done": d.Done}[name]
		if !day.IsZero() && day.Before(d.Date) {
			l.fault(fields[name].place(), "%s: found %s, before the decision of %s, wanted that day or a later one", name, day.Format(time.DateOnly), d.Date.Format(time.DateOnly))
		}
	}
	if d.Figure != "" && !slices.Contains(figures, d.Figure) {
		l.fault(fields["figure"].place(), "figure: %s (a figure with a share by month)", unknown(d.Figure, figures))
	}
	return d, len(l.faults.List) == before
}
