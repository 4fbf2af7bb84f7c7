package audit

import (
	"context"
	"fmt"
	"slices"

	"thawline/internal/engine"
)

// step is one piece of work on an engine's tables: a query, a rule, a file to
// be written.
type step struct {
	// name is the table that the step makes; no other step has it.
	name string
	// after names the tables that it reads. Those that no step makes are there.
	after []string
	run   func(context.Context, *engine.Engine) error
}

// sessions is how many steps run at once. A table of fewer rows than the
// engine's row group keeps one thread busy, and most tables of an audit are
// such: two steps side by side use two cores.
const sessions = 2

// runSteps runs each step once those that make what it reads have ended, and
// returns the first error after all running steps have ended. Of the steps that
// may begin, the earliest in the list does. A circle is an error.
func runSteps(ctx context.Context, e *engine.Engine, steps []step) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	waiting := slices.Clone(steps)
	unmade := map[string]bool{}
	for _, s := range steps {
		unmade[s.name] = true
	}
	type outcome struct {
		name string
		on   *engine.Engine
		err  error
	}
	ended := make(chan outcome)
	free := []*engine.Engine{e}
	for len(free) < sessions {
		beside, err := e.Beside(ctx)
		if err != nil {
			return err
		}
		defer beside.Close()
		free = append(free, beside)
	}
	var failed error
	for running := 0; ; {
		for failed == nil && len(free) > 0 {
			next := slices.IndexFunc(waiting, func(s step) bool {
				return !slices.ContainsFunc(s.after, func(name string) bool { return unmade[name] && name != s.name })
			})
			if next < 0 {
				break
			}
			s, on := waiting[next], free[len(free)-1]
			waiting, free = slices.Delete(waiting, next, next+1), free[:len(free)-1]
			running++
			go func() { ended <- outcome{s.name, on, s.run(ctx, on)} }()
		}
		if running == 0 {
			break
		}
		one := <-ended
		running--
		free = append(free, one.on)
		delete(unmade, one.name)
		if failed == nil && one.err != nil {
			failed = one.err
			stop()
		}
	}
	if failed == nil && len(waiting) > 0 {
		return fmt.Errorf("%s waits for a table that waits for it", waiting[0].name)
	}
	return failed
}

// RunBeside is Run over queries in any order, two at a time: each begins once
// those whose tables it reads have ended. The engine should have ThreadsBeside.
// Steps of the caller's own begin when no query may, each on the session that is free.
func RunBeside(ctx context.Context, e *engine.Engine, all []*Query, views []string, own ...Step) error {
	steps := querySteps(all, views...)
	for _, one := range own {
		steps = append(steps, step{one.Name, one.After, one.Run})
	}
	return runSteps(ctx, e, steps)
}

// Step is a piece of work that reads tables of the queries it is run beside.
type Step struct {
	Name string
	// After names the tables that it reads, or other steps.
	After []string
	Run   func(context.Context, *engine.Engine) error
}

// querySteps makes a step of each query.
func querySteps(all []*Query, views ...string) []step {
	steps := make([]step, len(all))
	for i, q := range all {
		steps[i] = step{q.Name, q.Reads(), func(ctx context.Context, e *engine.Engine) error {
			return Run(ctx, e, []*Query{q}, views...)
		}}
	}
	return steps
}
