package audit

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
	"thawline/queries"
)

// markStages are the folders of queries that make episodes and marks, in the
// order in which the data flows; their queries order themselves by what they read.
var markStages = []string{"2-episodes", "3-basis", "4-marks"}

// Given is what the queries of episodes and marks need besides the records.
type Given struct {
	// Policy holds the values, their periods, and the decision table's place.
	Policy *policy.Policy
	// Present names the feeds that the store has rows or readings of. What an
	// absent feed would show is not known.
	Present map[string]bool
	// ControlledStorage names locations whose units stay in controlled storage
	// until they are used.
	ControlledStorage []string
}

// MarkTables makes the audit tables in an engine that already holds the current
// tables, the macros and the hospital's clock: episodes, units, bags, evidence,
// suspect_weights, findings and rules_run, each ordered by its key.
func MarkTables(ctx context.Context, e *engine.Engine, given Given) error {
	if err := loadGiven(ctx, e, given); err != nil {
		return err
	}
	var all []*Query
	for _, stage := range markStages {
		some, err := LoadQueries(queries.FS, stage)
		if err != nil {
			return err
		}
		all = append(all, some...)
	}
	ordered, err := Order(all)
	if err != nil {
		return err
	}
	// A part of the rows of a table: rules read some columns of it each.
	if err := Run(ctx, e, ordered, "dose_judged"); err != nil {
		return err
	}
	return runRules(ctx, e, given)
}

// PolicyTables makes the tables policy (a row a period, a column a value),
// weight_for_age and marks (the decision table).
func PolicyTables(ctx context.Context, e *engine.Engine, p *policy.Policy) error {
	table, err := p.Table()
	if err != nil {
		return err
	}
	if err := e.Load(ctx, "policy", p.Columns(), p.Rows()); err != nil {
		return err
	}
	if err := e.Load(ctx, "weight_for_age", p.WeightColumns(), p.WeightRows()); err != nil {
		return err
	}
	return e.Load(ctx, "marks", table.Columns(), table.Rows())
}

// loadGiven makes the small tables that Go knows.
func loadGiven(ctx context.Context, e *engine.Engine, given Given) error {
	if err := PolicyTables(ctx, e, given.Policy); err != nil {
		return err
	}
	var feeds, storage [][]any
	for _, t := range contract.Feeds() {
		feeds = append(feeds, []any{t.Name, given.Present[t.Name]})
	}
	for _, location := range given.ControlledStorage {
		storage = append(storage, []any{location})
	}
	for _, small := range []struct {
		name    string
		columns []contract.Column
		rows    [][]any
	}{
		{"feeds", []contract.Column{{Name: "table_name"}, {Name: "present", Kind: contract.Bool}}, feeds},
		{"site_storage", []contract.Column{{Name: "location"}}, storage},
	} {
		if err := e.Load(ctx, small.name, small.columns, small.rows); err != nil {
			return err
		}
	}
	return nil
}

// ruleOf maps the word of a rule's header to that of the findings.
var ruleOf = []string{"episode", "unit"}

// severities are the kinds of attention that a finding may ask for.
var severities = []string{"safety", "practice", "data"}

// Rules returns the rules in the order of their names, each header checked.
func Rules() ([]*Query, error) {
	rules, err := LoadQueries(queries.FS, "rules")
	if err != nil {
		return nil, err
	}
	for _, rule := range rules {
		if !slices.Contains(ruleOf, rule.Header["of"]) {
			return nil, fmt.Errorf("%s: header line of is %q, wanted one of %s", rule.Path, rule.Header["of"], strings.Join(ruleOf, ", "))
		}
		if !slices.Contains(severities, rule.Header["severity"]) {
			return nil, fmt.Errorf("%s: header line severity is %q, wanted one of %s", rule.Path, rule.Header["severity"], strings.Join(severities, ", "))
		}
		for _, key := range []string{"fires", "not known", "source"} {
			if rule.Header[key] == "" {
				return nil, fmt.Errorf("%s: the header has no line \"-- %s: …\"", rule.Path, key)
			}
		}
	}
	slices.SortFunc(rules, func(a, b *Query) int { return strings.Compare(a.Name, b.Name) })
	return rules, nil
}

// missing says what a rule needs and the store lacks, or nothing. A need is a
// feed, several feeds parted by "or", or "policy NAME": a value that is set.
func missing(rule *Query, given Given) string {
	var lacks []string
	for _, need := range rule.List("needs") {
		if name, found := strings.CutPrefix(need, "policy "); found {
			// A value may be set from a date on: it is there if any period has it.
			if !slices.ContainsFunc(given.Policy.Periods(), func(p policy.Period) bool { return p.Values[name] != nil }) {
				lacks = append(lacks, "the policy sets no "+name)
			}
			continue
		}
		if !slices.ContainsFunc(strings.Split(need, " or "), func(feed string) bool { return given.Present[strings.TrimSpace(feed)] }) {
			lacks = append(lacks, "no feed "+need)
		}
	}
	return strings.Join(lacks, "; ")
}

// runRules runs each rule whose needs are met and gathers what fired.
func runRules(ctx context.Context, e *engine.Engine, given Given) error {
	rules, err := Rules()
	if err != nil {
		return err
	}
	for _, t := range []*contract.Table{contract.Findings, contract.RulesRun} {
		if err := e.Load(ctx, "unsorted_"+t.Name, t.Columns, nil); err != nil {
			return err
		}
	}
	for _, rule := range rules {
		name := engine.Quote(rule.Name)
		if why := missing(rule, given); why != "" {
			if err := e.Exec(ctx, rule.Path, fmt.Sprintf("INSERT INTO unsorted_rules_run VALUES (%s, false, %s, 0, 0, 0)", name, engine.Quote(why))); err != nil {
				return err
			}
			continue
		}
		if err := runRule(ctx, e, rule); err != nil {
			return err
		}
	}
	return e.Exec(ctx, "findings", `
CREATE OR REPLACE TABLE findings AS SELECT * FROM unsorted_findings ORDER BY finding, key, numbers;
CREATE OR REPLACE TABLE rules_run AS SELECT * FROM unsorted_rules_run ORDER BY finding;
DROP TABLE unsorted_findings;
DROP TABLE unsorted_rules_run;`)
}

// runRule makes the table of one rule, keeps what fired, and counts the rest.
func runRule(ctx context.Context, e *engine.Engine, rule *Query) error {
	if err := Run(ctx, e, []*Query{rule}); err != nil {
		return err
	}
	table := engine.Name(rule.Name)
	names, _, err := e.Rows(ctx, rule.Path, "SELECT * FROM "+table+" LIMIT 0")
	if err != nil {
		return err
	}
	severity := engine.Quote(rule.Header["severity"])
	var numbers []string
	for _, name := range names {
		switch name {
		case "key", "episode_id", "result":
		case "severity":
			severity = "severity"
		default:
			numbers = append(numbers, engine.Name(name)+" := "+engine.Name(name))
		}
	}
	proof := "'{}'"
	if len(numbers) > 0 {
		proof = "CAST(to_json(struct_pack(" + strings.Join(numbers, ", ") + ")) AS VARCHAR)"
	}
	what, name := rule.Path, engine.Quote(rule.Name)
	return e.Exec(ctx, what, fmt.Sprintf(`
INSERT INTO unsorted_findings
SELECT %[1]s, %[2]s, key, episode_id, %[3]s, %[4]s FROM %[5]s WHERE result = 'fired';
INSERT INTO unsorted_rules_run
SELECT %[1]s, true, NULL, count(*), count(*) FILTER (WHERE result = 'fired'), count(*) FILTER (WHERE result = 'not_known') FROM %[5]s;
SELECT CASE WHEN count(*) > 0 THEN error('a row has no key, or a result other than fired, clear and not_known') END
FROM %[5]s WHERE key IS NULL OR result IS NULL OR result NOT IN ('fired', 'clear', 'not_known');
DROP TABLE %[5]s;`, name, engine.Quote(rule.Header["of"]), severity, proof, table))
}
