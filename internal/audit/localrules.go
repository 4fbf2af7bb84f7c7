package audit

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
	"thawline/internal/site"
	"thawline/queries"
)

// localRules is the folder of a site's own rules, beside its site.yaml.
const localRules = "rules"

// localRuleTime is how long one rule of a site's own may take.
var localRuleTime = time.Minute

// RuleFaults is what is wrong with a site's own rules. Nothing of a mark is
// written while there is one.
type RuleFaults struct{ List []error }

// Error lists the faults, a line each, and says what to do.
func (f *RuleFaults) Error() string {
	var b strings.Builder
	for _, err := range f.List {
		fmt.Fprintf(&b, "%v\n", err)
	}
	return b.String() + "Next: mend the rule, or move it out of the folder " + localRules + "; nothing was written"
}

// Unwrap gives the faults.
func (f *RuleFaults) Unwrap() []error { return f.List }

// ruleName is the form of a rule's name: it heads lists and names a table.
var ruleName = regexp.MustCompile(`^[a-z][a-z0-9_]{2,60}$`)

// noSource are words that name no source.
var noSource = []string{"", "-", "–", "none", "unknown", "todo", "tbd", "n/a"}

// LocalRules reads the rules that a site keeps beside its site.yaml, in the
// order of their names. Each is checked as far as that goes without records:
// its header, its one SELECT, and that it reads what its header names and
// nothing else. All faults come back at once, as *RuleFaults. p is the site's
// policy, whose values the header may need.
func LocalRules(ctx context.Context, s *site.Site, p *policy.Policy) ([]*Query, error) {
	if s.Dir == "" {
		return nil, nil
	}
	files, err := fs.Glob(os.DirFS(s.Dir), localRules+"/*.sql")
	if err != nil || len(files) == 0 {
		return nil, err
	}
	e, err := openEngine(ctx, s, 0)
	if err != nil {
		return nil, err
	}
	defer e.Close()
	c, err := newLocalChecker(ctx, e, p)
	if err != nil {
		return nil, err
	}
	return c.check(ctx, s, files)
}

// check is LocalRules over the files of a site's folder.
func (c *localChecker) check(ctx context.Context, s *site.Site, files []string) ([]*Query, error) {
	faults := &RuleFaults{}
	var rules []*Query
	for _, file := range files {
		rule, err := c.read(ctx, filepath.Join(s.Dir, file), filepath.Join(filepath.Dir(s.Path), file))
		if err != nil {
			faults.List = append(faults.List, err)
			continue
		}
		rules = append(rules, rule)
	}
	// The tables that marks are made in, empty: what a rule asks of their
	// columns is checked without a record.
	if len(faults.List) == 0 {
		if err := c.try(ctx, rules, faults); err != nil {
			return nil, err
		}
	}
	if len(faults.List) > 0 {
		return nil, faults
	}
	return rules, nil
}

// localChecker knows what a site's own rule may name.
type localChecker struct {
	e        *engine.Engine
	policy   *policy.Policy
	builtin  map[string]bool
	open     []string
	unsteady map[string]bool
}

func newLocalChecker(ctx context.Context, e *engine.Engine, p *policy.Policy) (*localChecker, error) {
	c := &localChecker{e: e, policy: p, builtin: map[string]bool{}}
	rules, err := Rules()
	if err != nil {
		return nil, err
	}
	for _, rule := range rules {
		c.builtin[rule.Name] = true
	}
	if c.open, err = openTables(); err != nil {
		return nil, err
	}
	c.unsteady, err = e.Unsteady(ctx)
	return c, err
}

// openTables lists the tables that a site's own rule may name, sorted: the
// feeds, what the queries of episodes and marks make, and the small tables of
// the policy, the site and the clock.
func openTables() ([]string, error) {
	open := []string{"recorded", "policy", "weight_for_age", "feeds", "site_storage", "local_days"}
	for _, t := range contract.Feeds() {
		open = append(open, t.Name)
	}
	made, err := markQueries()
	if err != nil {
		return nil, err
	}
	for _, q := range made {
		open = append(open, q.Name)
	}
	slices.Sort(open)
	return open, nil
}

// read reads one rule and checks its header and what its SELECT names. shown is
// the path that errors show.
func (c *localChecker) read(ctx context.Context, file, shown string) (*Query, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		var reason *os.PathError
		if errors.As(err, &reason) {
			err = reason.Err
		}
		return nil, fmt.Errorf("%s: cannot be read: %w", shown, err)
	}
	// Editors of another system add a mark in front and a sign to each line.
	text := strings.ReplaceAll(strings.TrimPrefix(string(data), "\ufeff"), "\r\n", "\n")
	rule, err := ParseQuery(filepath.ToSlash(shown), text)
	if err == nil {
		err = checkRuleHeader(rule)
	}
	if err != nil {
		return nil, err
	}
	switch {
	case !ruleName.MatchString(rule.Name):
		return nil, fmt.Errorf("%s: the name %q is not one of small letters, digits and underscores, 3 to 61 of them", rule.Path, rule.Name)
	case c.builtin[rule.Name]:
		return nil, fmt.Errorf("%s: a rule of this name stands in the program already: give the file another name", rule.Path)
	case slices.Contains(c.open, rule.Name) || contract.Find(rule.Name) != nil:
		return nil, fmt.Errorf("%s: a table has this name: give the file another name", rule.Path)
	case slices.Contains(noSource, strings.ToLower(strings.TrimRight(rule.Header["source"], "."))):
		return nil, fmt.Errorf("%s: header line source is %q, wanted where its limits come from: a guideline, the local policy and its section, or \"common practice\"", rule.Path, rule.Header["source"])
	}
	for _, need := range rule.List("needs") {
		if name, found := strings.CutPrefix(need, "policy "); found {
			if !slices.ContainsFunc(c.policy.Values(), func(v policy.Value) bool { return v.Name == name }) {
				return nil, fmt.Errorf("%s: header line needs names the policy value %q, which there is not", rule.Path, name)
			}
			continue
		}
		for _, feed := range strings.Split(need, " or ") {
			if !slices.ContainsFunc(contract.Feeds(), func(t *contract.Table) bool { return t.Name == strings.TrimSpace(feed) }) {
				return nil, fmt.Errorf("%s: header line needs names %q, wanted a feed (thawline describe lists them) or \"policy NAME\"", rule.Path, feed)
			}
		}
	}
	for _, name := range rule.Reads() {
		if !slices.Contains(c.open, name) {
			return nil, fmt.Errorf("%s: header line reads names %q, wanted some of %s", rule.Path, name, strings.Join(c.open, ", "))
		}
	}
	parsed, err := c.e.Parse(ctx, rule.Path, rule.SQL)
	if err != nil {
		return nil, err
	}
	for _, table := range parsed.Tables {
		if !slices.Contains(rule.Reads(), strings.ToLower(table.Name)) {
			return nil, &engine.Error{What: rule.Path, Line: table.Line, Message: fmt.Sprintf("it reads %q, which its header does not name: add it to the line \"-- reads: …\"", table.Name)}
		}
	}
	for _, function := range parsed.Functions {
		if c.unsteady[function.Name] {
			return nil, &engine.Error{What: rule.Path, Line: function.Line, Message: function.Name + " gives another answer another time: the same records must give the same findings"}
		}
	}
	if parsed.Sampled {
		return nil, &engine.Error{What: rule.Path, Message: "it draws rows at random: the same records must give the same findings"}
	}
	rule.parsed = parsed
	return rule, nil
}

// try runs rules over empty tables.
func (c *localChecker) try(ctx context.Context, rules []*Query, faults *RuleFaults) error {
	for _, t := range append(contract.Feeds(), contract.Recorded) {
		if err := c.e.Load(ctx, t.Name, t.Columns, nil); err != nil {
			return err
		}
	}
	if err := EpisodeTables(ctx, c.e, Given{Policy: c.policy}); err != nil {
		return err
	}
	for _, rule := range rules {
		box, err := boxFor(ctx, c.e, rule)
		if err != nil {
			return err
		}
		_, err = ruled(ctx, box, rule)
		box.Close()
		if err != nil {
			faults.List = append(faults.List, err)
		}
	}
	return nil
}

// boxFor is a sandbox that holds what a rule of a site's own names, and nothing
// else: of each table the columns that its text mentions, and of feeds the rows
// of patients with plasma.
func boxFor(ctx context.Context, e *engine.Engine, rule *Query) (*engine.Engine, error) {
	// The clock's tables stand behind the macros.
	parts := []engine.Part{{Table: "zone", Columns: []string{"from_utc", "offset_s"}}, {Table: "local_days", Columns: []string{"day", "starts_at", "ends_at"}}}
	for _, table := range rule.Reads() {
		if table == "local_days" {
			continue
		}
		names, _, err := e.Rows(ctx, rule.Path, "SELECT * FROM "+engine.Name(table)+" LIMIT 0")
		if err != nil {
			return nil, err
		}
		part := engine.Part{Table: table}
		for _, name := range names {
			if rule.parsed.Uses(name) {
				part.Columns = append(part.Columns, name)
			}
		}
		// A table of which only the rows are counted has one column all the same.
		if part.Columns == nil {
			part.Columns = names[:1]
		}
		if slices.Contains(names, "patient_id") && slices.ContainsFunc(contract.Feeds(), func(t *contract.Table) bool { return t.Name == table }) {
			part.Where = "patient_id IN (SELECT recipients.patient_id FROM recipients)"
			if table == contract.Issues.Name {
				part.Where += " OR component = 'plasma'"
			}
		}
		parts = append(parts, part)
	}
	macros, err := queries.FS.ReadFile("macros.sql")
	if err != nil {
		return nil, err
	}
	return e.Sandbox(ctx, parts, func(box *engine.Engine) error {
		if err := box.Exec(ctx, "queries/macros.sql", string(macros)); err != nil {
			return err
		}
		return box.ZoneMacros(ctx)
	})
}

// runLocal runs one rule of a site's own in a sandbox, checks what it returned
// against the episodes and units that there are, and keeps what fired.
func runLocal(ctx context.Context, e *engine.Engine, rule *Query) error {
	box, err := boxFor(ctx, e, rule)
	if err != nil {
		return err
	}
	defer box.Close()
	fault := func(format string, args ...any) error {
		return &RuleFaults{[]error{&engine.Error{What: rule.Path, Message: fmt.Sprintf(format, args...)}}}
	}
	limited, cancel := context.WithTimeout(ctx, localRuleTime)
	defer cancel()
	made, err := ruled(limited, box, rule)
	var fired, counts [][]any
	if err == nil {
		_, fired, err = box.Rows(limited, rule.Path, made.fired)
	}
	if err == nil {
		_, counts, err = box.Rows(limited, rule.Path, fmt.Sprintf("SELECT *, (SELECT count(*) - count(DISTINCT key) FROM %s) FROM (%s)", engine.Name(rule.Name), made.counts))
	}
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case limited.Err() != nil:
		return fault("it took more than %s and was stopped", localRuleTime)
	case err != nil:
		return &RuleFaults{[]error{err}}
	}
	count := counts[0]
	if twice := count[len(count)-1].(int64); twice > 0 {
		return fault("it judges %d of its keys more than once, wanted a row for each", twice)
	}
	if err := e.Load(ctx, "local_findings", contract.Findings.Columns, fired); err != nil {
		return err
	}
	defer e.Exec(context.WithoutCancel(ctx), rule.Path, "DROP TABLE IF EXISTS local_findings")
	known := "SELECT judged_episodes.episode_id AS key, judged_episodes.episode_id FROM judged_episodes"
	if rule.Header["of"] == "unit" {
		known = "SELECT judged_units.key, judged_units.episode_id FROM judged_units"
	}
	_, rows, err := e.Rows(ctx, rule.Path, `
SELECT
    (SELECT count(*) FROM local_findings WHERE (local_findings.key, coalesce(local_findings.episode_id, '')) NOT IN (SELECT (known.key, coalesce(known.episode_id, '')) FROM (`+known+`) AS known)),
    (
        SELECT count(*)
        FROM (SELECT unnest(json_extract_string(local_findings.numbers, '$.*')) AS shown, unnest(json_type(local_findings.numbers, '$.*')) AS kind FROM local_findings) AS cells
        WHERE cells.kind = 'VARCHAR'
            AND (cells.shown IN (SELECT units.patient_id FROM units) OR cells.shown IN (SELECT units.unit_no FROM units) OR cells.shown IN (SELECT episodes.requester FROM episodes))
    )`)
	if err != nil {
		return err
	}
	if n := rows[0][0].(int64); n > 0 {
		return fault("%d rows that fired have a key and episode_id that are no %s's; wanted those of %s", n, rule.Header["of"], map[string]string{"episode": "judged_episodes", "unit": "judged_units"}[rule.Header["of"]])
	}
	if n := rows[0][1].(int64); n > 0 {
		return fault("%d cells of its numbers name a patient, a unit or a requester: findings are shown, so leave these columns out", n)
	}
	why := any(nil)
	row := []any{count[0], count[1], why, count[3], count[4], count[5]}
	if err := e.Load(ctx, "local_run", contract.RulesRun.Columns, [][]any{row}); err != nil {
		return err
	}
	return e.Exec(ctx, rule.Path, `
INSERT INTO unsorted_findings SELECT * FROM local_findings;
INSERT INTO unsorted_rules_run SELECT * FROM local_run;
DROP TABLE local_run;`)
}
