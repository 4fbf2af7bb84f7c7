package main

import (
	"context"
	"fmt"
	"os"
	"strings"
	"text/tabwriter"

	"thawline/internal/audit"
)

type rulesCommand struct {
	where
	JSON bool `name:"json" help:"As JSON."`
}

// ruleLine is a rule as its header tells it, and what it did in the store.
type ruleLine struct {
	Name string `json:"name"`
	// Own says that it is a rule of the site's own.
	Own      bool   `json:"own"`
	Of       string `json:"of"`
	Severity string `json:"severity"`
	Says     string `json:"says"`
	Fires    string `json:"fires"`
	NotKnown string `json:"not_known_if"`
	Source   string `json:"source"`
	Needs    string `json:"needs,omitempty"`
	// Run tells what the last mark did; nil where the store was not marked.
	Run *ruleRun `json:"run,omitempty"`
}

// ruleRun is one row of rules_run.
type ruleRun struct {
	Ran      bool   `json:"ran"`
	WhyNot   string `json:"why_not,omitempty"`
	Judged   int64  `json:"judged"`
	Fired    int64  `json:"fired"`
	NotKnown int64  `json:"not_known"`
}

// Run lists the rules from the headers of the SQL that runs, so that the list
// cannot differ from it; the site's own stand last. Without a site it lists the
// program's, without counts.
func (c *rulesCommand) Run(ctx context.Context, s *streams) error {
	rules, err := audit.Rules()
	if err != nil {
		return err
	}
	runs, builtin := map[string]*ruleRun{}, len(rules)
	if _, err := os.Stat(c.Site); err == nil {
		own, did, err := c.runs(ctx)
		if err != nil {
			return err
		}
		rules, runs = append(rules, own...), did
	}
	var lines []ruleLine
	for i, r := range rules {
		lines = append(lines, ruleLine{r.Name, i >= builtin, r.Header["of"], r.Header["severity"], r.Says, r.Header["fires"], r.Header["not known"], r.Header["source"], r.Header["needs"], runs[r.Name]})
	}
	if c.JSON {
		return s.json(lines)
	}
	w := tabwriter.NewWriter(s.out, 2, 4, 2, ' ', 0)
	fmt.Fprintln(w, "rule\tof\tseverity\tfired\tjudged\tnot known\twhat it notices")
	for _, line := range lines {
		counts := "–\t–\t–"
		if run := line.Run; run != nil && run.Ran {
			counts = fmt.Sprintf("%d\t%d\t%d", run.Fired, run.Judged, run.NotKnown)
		} else if run != nil {
			counts = "not run: " + run.WhyNot + "\t\t"
		}
		says := strings.TrimSuffix(line.Says, ".")
		if line.Own {
			says += " (the site's own rule)"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", line.Name, line.Of, line.Severity, counts, says)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	s.say("--json gives when each fires, when it cannot judge, and the source of its limit")
	return nil
}

// runs reads the site's own rules, and what the last mark of its store did.
func (c *rulesCommand) runs(ctx context.Context) ([]*audit.Query, map[string]*ruleRun, error) {
	hospital, p, st, err := c.open(false)
	if err != nil {
		return nil, nil, err
	}
	defer st.Close()
	own, err := audit.LocalRules(ctx, hospital, p)
	if err != nil {
		return nil, nil, err
	}
	e, err := audit.OpenReader(ctx, st, hospital)
	if err != nil {
		return nil, nil, err
	}
	defer e.Close()
	_, rows, err := e.Rows(ctx, "rules_run", `SELECT finding, run, coalesce(why_not, ''), judged, fired, not_known FROM rules_run ORDER BY finding`)
	if err != nil {
		return nil, nil, err
	}
	runs := map[string]*ruleRun{}
	for _, row := range rows {
		runs[row[0].(string)] = &ruleRun{row[1].(bool), row[2].(string), row[3].(int64), row[4].(int64), row[5].(int64)}
	}
	return own, runs, nil
}
