package audit

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
)

// otherMarksStep makes the table other_marks: the episodes are judged again by
// each of the other values that are tried (queries/other_values.csv), by the
// same queries over the same facts.
func otherMarksStep(ordered []*Query, p *policy.Policy) (step, error) {
	s := step{name: contract.OtherMarks.Name, after: []string{marked}}
	others, err := policy.OtherValues()
	if err != nil {
		return s, err
	}
	var tried []policy.OtherValue
	again := map[string]rejudging{}
	for _, other := range others {
		if !p.Tries(other) {
			continue
		}
		tried = append(tried, other)
		r, err := rejudgingBy(ordered, other.Column)
		if err != nil {
			return s, err
		}
		again[other.Column] = r
		s.after = append(s.after, r.reads()...)
	}
	s.run = func(ctx context.Context, e *engine.Engine) error {
		if err := e.Load(ctx, contract.OtherMarks.Name, contract.OtherMarks.Columns, nil); err != nil {
			return err
		}
		for _, other := range tried {
			if err := judgeAgain(ctx, e, other, again[other.Column]); err != nil {
				return fmt.Errorf("%s = %v: %w", other.Column, other.Setting, err)
			}
		}
		return nil
	}
	return s, nil
}

const (
	// marked is the table of marks, with which judging ends.
	marked = "marked"
	// building is the policy's first period: a copy of all its values.
	building = "building"
)

// limitColumns name the columns in which a limit itself is handed on, for a
// reader of the audit: no mark goes by them (a test looks).
var limitColumns = map[string]string{"doses": "low", "criteria": "over"}

// rejudging is what must run again for another value: the query that reads the
// value, and those whose result hangs on it, in their order.
type rejudging struct {
	first *Query
	then  []*Query
}

// rejudgingBy finds the queries, as far as marks are made by them, whose result a
// value of the policy may change: the one that names it, and what reads that.
func rejudgingBy(ordered []*Query, column string) (rejudging, error) {
	names := regexp.MustCompile(`\b` + regexp.QuoteMeta(column) + `\b`)
	// Backwards from the marks: what they are made from.
	needed := map[string]bool{marked: true}
	for _, q := range slices.Backward(ordered) {
		if needed[q.Name] {
			for _, name := range q.Reads() {
				needed[name] = true
			}
		}
	}
	var r rejudging
	changed := map[string]bool{}
	for _, q := range ordered {
		switch {
		case !needed[q.Name]:
		case slices.ContainsFunc(q.Reads(), func(name string) bool { return changed[name] }):
			r.then, changed[q.Name] = append(r.then, q), true
		case names.MatchString(q.SQL):
			if r.first != nil || limitColumns[q.Name] == "" {
				return r, fmt.Errorf("%s reads the value %s: audit.judgeAgain must be told how", q.Path, column)
			}
			r.first, changed[q.Name] = q, true
		}
	}
	if r.first == nil || !changed[marked] {
		return r, fmt.Errorf("no mark goes by the value %s", column)
	}
	return r, nil
}

// reads lists the tables that judging again reads.
func (r rejudging) reads() []string {
	all := r.first.Reads()
	for _, q := range r.then {
		all = append(all, q.Reads()...)
	}
	return all
}

// judgeAgain runs the queries in a schema of its own, which hides from them the
// tables of the same names: its policy has the other value on all dates. Of what
// the first query makes, the episodes are kept in which anything differs; the
// rest of the way each episode is judged by itself. It keeps the marks that differ.
func judgeAgain(ctx context.Context, e *engine.Engine, other policy.OtherValue, r rejudging) error {
	const what = "marks under another value"
	err := e.Exec(ctx, what, fmt.Sprintf(`
CREATE SCHEMA other;
CREATE VIEW other.bases AS SELECT * FROM main.bases WHERE lens = 'all';
CREATE TABLE other.policy AS SELECT * REPLACE (CAST(%v AS DOUBLE) AS %s) FROM main.policy;
CREATE TABLE other.building AS SELECT * FROM other.policy WHERE from_date IS NULL;
SET search_path = 'other,main'`, other.Setting, engine.Name(other.Column)))
	if err == nil {
		err = runDiffering(ctx, e, r.first)
	}
	if err == nil {
		err = Run(ctx, e, r.then)
	}
	var names []string
	for _, c := range contract.OtherMarks.Columns {
		names = append(names, engine.Name(c.Name))
	}
	if err == nil {
		err = e.Exec(ctx, what, fmt.Sprintf(`
INSERT INTO main.other_marks (%s)
SELECT %s, CAST(%v AS DOUBLE), again.episode_id, again.mark, CAST(again.mark_row AS BIGINT)
FROM other.marked AS again
INNER JOIN main.marked AS own ON own.episode_id = again.episode_id AND own.lens = again.lens
WHERE again.lens = 'all' AND again.mark <> own.mark`, strings.Join(names, ", "), engine.Quote(other.Column), other.Setting))
	}
	// The session goes on to other steps, also where this one failed.
	if reset := e.Exec(ctx, what, "SET search_path = 'main'; DROP SCHEMA IF EXISTS other CASCADE"); err == nil {
		err = reset
	}
	return err
}

// runDiffering makes the table of a query of the rows that differ from those of
// the same table in main, the limit itself left out.
func runDiffering(ctx context.Context, e *engine.Engine, q *Query) error {
	table := engine.Name(q.Name)
	columns, _, err := e.Rows(ctx, q.Path, "SELECT * FROM main."+table+" LIMIT 0")
	if err != nil {
		return err
	}
	same := "own.episode_id = again.episode_id"
	var differs []string
	for _, name := range columns {
		switch name {
		case "lens":
			same += " AND own.lens = again.lens"
		case "episode_id", limitColumns[q.Name]:
		default:
			differs = append(differs, fmt.Sprintf("own.%[1]s IS DISTINCT FROM again.%[1]s", engine.Name(name)))
		}
	}
	// Lines count as in the file: its first is the header's.
	_, body, _ := strings.Cut(q.SQL, "\n")
	body = strings.TrimSuffix(strings.TrimRight(body, " \n"), ";")
	return e.Exec(ctx, q.Path, fmt.Sprintf("CREATE TABLE %[1]s AS SELECT again.* FROM (\n%[2]s\n) AS again INNER JOIN main.%[1]s AS own ON %[3]s WHERE %[4]s",
		table, body, same, strings.Join(differs, " OR ")))
}
