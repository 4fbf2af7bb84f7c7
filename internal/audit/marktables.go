package audit

import (
	"context"
	"slices"

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
	// Local are the site's own rules, checked; see LocalRules.
	Local []*Query
}

// MarkTables makes the audit tables in an engine that already holds the current
// tables, the macros and the hospital's clock: episodes, units, bags, evidence,
// suspect_weights, findings, rules_run and other_marks. Their rows stand in no order.
func MarkTables(ctx context.Context, e *engine.Engine, given Given) error {
	return markTables(ctx, e, given)
}

// markTables is MarkTables; more are steps that read what it makes, findings
// and rules_run excepted.
func markTables(ctx context.Context, e *engine.Engine, given Given, more ...step) error {
	if err := loadGiven(ctx, e, given); err != nil {
		return err
	}
	ordered, err := markQueries()
	if err != nil {
		return err
	}
	for _, t := range []*contract.Table{contract.Findings, contract.RulesRun} {
		if err := e.Load(ctx, "unsorted_"+t.Name, t.Columns, nil); err != nil {
			return err
		}
	}
	rules, err := ruleSteps(given)
	if err != nil {
		return err
	}
	others, err := otherMarksStep(ordered, given.Policy)
	if err != nil {
		return err
	}
	if err := runSteps(ctx, e, slices.Concat(querySteps(ordered, markViews...), rules, []step{others}, more)); err != nil {
		return err
	}
	for _, rule := range given.Local {
		if err := runOrSay(ctx, e, rule, given, runLocal); err != nil {
			return err
		}
	}
	return e.Exec(ctx, "findings", `
CREATE OR REPLACE VIEW findings AS SELECT * FROM unsorted_findings;
CREATE OR REPLACE VIEW rules_run AS SELECT * FROM unsorted_rules_run;`)
}

// EpisodeTables is MarkTables without what the rules notice.
func EpisodeTables(ctx context.Context, e *engine.Engine, given Given) error {
	if err := loadGiven(ctx, e, given); err != nil {
		return err
	}
	ordered, err := markQueries()
	if err != nil {
		return err
	}
	return runSteps(ctx, e, querySteps(ordered, markViews...))
}

// markViews are queries that pick rows or columns of a table: they are read a
// few columns at a time, and a copy would cost more than it saves.
var markViews = []string{"episodes", "units", "judged_episodes", "dose_judged"}

// markQueries are the queries of episodes and marks in the order they run in.
func markQueries() ([]*Query, error) {
	var all []*Query
	for _, stage := range markStages {
		some, err := LoadQueries(queries.FS, stage)
		if err != nil {
			return nil, err
		}
		all = append(all, some...)
	}
	return Order(all)
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
