package audit

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"thawline/internal/engine"
	"thawline/internal/policy"
	"thawline/queries"
)

// ruleOf maps the word of a rule's header to that of the findings.
var ruleOf = []string{"episode", "unit"}

// severities are the kinds of attention that a finding may ask for.
var severities = []string{"safety", "practice", "data"}

// Rules returns the program's own rules in the order of their names, each
// header checked.
func Rules() ([]*Query, error) {
	rules, err := LoadQueries(queries.FS, "rules")
	if err != nil {
		return nil, err
	}
	for _, rule := range rules {
		if err := checkRuleHeader(rule); err != nil {
			return nil, err
		}
	}
	slices.SortFunc(rules, func(a, b *Query) int { return strings.Compare(a.Name, b.Name) })
	return rules, nil
}

// checkRuleHeader refuses a rule whose header lacks what every rule says.
func checkRuleHeader(rule *Query) error {
	if !slices.Contains(ruleOf, rule.Header["of"]) {
		return fmt.Errorf("%s: header line of is %q, wanted one of %s", rule.Path, rule.Header["of"], strings.Join(ruleOf, ", "))
	}
	if !slices.Contains(severities, rule.Header["severity"]) {
		return fmt.Errorf("%s: header line severity is %q, wanted one of %s", rule.Path, rule.Header["severity"], strings.Join(severities, ", "))
	}
	for _, key := range []string{"fires", "not known", "source"} {
		if rule.Header[key] == "" {
			return fmt.Errorf("%s: the header has no line \"-- %s: …\"", rule.Path, key)
		}
	}
	return nil
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

// ruleSteps makes a step of each of the program's rules.
func ruleSteps(given Given) ([]step, error) {
	rules, err := Rules()
	if err != nil {
		return nil, err
	}
	steps := make([]step, len(rules))
	for i, rule := range rules {
		steps[i] = step{rule.Name, rule.Reads(), func(ctx context.Context, e *engine.Engine) error {
			return runOrSay(ctx, e, rule, given, runRule)
		}}
	}
	return steps, nil
}

// runOrSay runs a rule whose needs are met, and says why not of another.
func runOrSay(ctx context.Context, e *engine.Engine, rule *Query, given Given, run func(context.Context, *engine.Engine, *Query) error) error {
	if why := missing(rule, given); why != "" {
		return e.Exec(ctx, rule.Path, fmt.Sprintf("INSERT INTO unsorted_rules_run VALUES (%s, false, %s, 0, 0, 0)", engine.Quote(rule.Name), engine.Quote(why)))
	}
	return run(ctx, e, rule)
}

// runRule makes the table of one rule, keeps what fired, and counts the rest.
func runRule(ctx context.Context, e *engine.Engine, rule *Query) error {
	made, err := ruled(ctx, e, rule)
	if err != nil {
		return err
	}
	return e.Exec(ctx, rule.Path, "INSERT INTO unsorted_findings "+made.fired+";\nINSERT INTO unsorted_rules_run "+made.counts+";\nDROP TABLE "+engine.Name(rule.Name))
}

// ruling is what became of a rule: SELECTs over the table that it made.
type ruling struct {
	// fired gives rows of findings, counts the row of rules_run.
	fired, counts string
}

// ruled runs a rule and checks the rows that it returned.
func ruled(ctx context.Context, e *engine.Engine, rule *Query) (ruling, error) {
	if err := Run(ctx, e, []*Query{rule}); err != nil {
		return ruling{}, err
	}
	table := engine.Name(rule.Name)
	names, _, err := e.Rows(ctx, rule.Path, "SELECT * FROM "+table+" LIMIT 0")
	if err != nil {
		return ruling{}, err
	}
	for _, wanted := range []string{"key", "episode_id", "result"} {
		if !slices.Contains(names, wanted) {
			return ruling{}, fmt.Errorf("%s: it returns no column %s, wanted key, episode_id, result and the numbers that prove it", rule.Path, wanted)
		}
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
	_, rows, err := e.Rows(ctx, rule.Path, fmt.Sprintf(`
SELECT
    count(*) FILTER (WHERE key IS NULL OR result IS NULL OR result NOT IN ('fired', 'clear', 'not_known')),
    count(*) FILTER (WHERE result = 'fired' AND (%[1]s IS NULL OR %[1]s NOT IN ('safety', 'practice', 'data')))
FROM %[2]s`, severity, table))
	if err != nil {
		return ruling{}, err
	}
	if n := rows[0][0].(int64); n > 0 {
		return ruling{}, fmt.Errorf("%s: %d rows have no key, or a result other than fired, clear and not_known", rule.Path, n)
	}
	if n := rows[0][1].(int64); n > 0 {
		return ruling{}, fmt.Errorf("%s: %d rows have a severity other than %s", rule.Path, n, strings.Join(severities, ", "))
	}
	name := engine.Quote(rule.Name)
	return ruling{
		fired: fmt.Sprintf("SELECT %s, %s, key, episode_id, %s, %s FROM %s WHERE result = 'fired'", name, engine.Quote(rule.Header["of"]), severity, proof, table),
		counts: fmt.Sprintf("SELECT %s, true, NULL, count(*), count(*) FILTER (WHERE result = 'fired'), count(*) FILTER (WHERE result = 'not_known') FROM %s",
			name, table),
	}, nil
}
