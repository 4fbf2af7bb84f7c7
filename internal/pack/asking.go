package pack

import (
	"context"
	"slices"
	"sync/atomic"

	"thawline/internal/engine"
	"thawline/internal/figure"
)

// asking asks for the figures of every panel, each once: several sessions take one
// after another from its list.
type asking struct {
	wanted []*figure.Definition
	got    []*figure.Figure
	next   atomic.Int64
}

func newAsking(d *figure.Dashboard, defined map[string]*figure.Definition) *asking {
	a := &asking{}
	for _, s := range d.Sections {
		for _, p := range s.Panels {
			if one := defined[p.Figure]; !slices.Contains(a.wanted, one) {
				a.wanted = append(a.wanted, one)
			}
		}
	}
	a.got = make([]*figure.Figure, len(a.wanted))
	return a
}

// run asks for figures on a session until none is left.
func (a *asking) run(ctx context.Context, e *engine.Engine) error {
	for {
		i := int(a.next.Add(1)) - 1
		if i >= len(a.wanted) {
			return nil
		}
		f, err := a.wanted[i].Run(ctx, e)
		if err != nil {
			return err
		}
		a.got[i] = f
	}
}

// disclosed are the figures of every panel, by section: what was asked is disclosed
// together before anything is said or drawn.
func (in *input) disclosed(ctx context.Context, e *engine.Engine, d *figure.Dashboard, all []*figure.Figure) ([][]*figure.Figure, error) {
	bySection := make([][]*figure.Figure, len(d.Sections))
	asked := map[string]*figure.Figure{}
	for _, f := range all {
		asked[f.Name] = f
	}
	atoms, err := figure.LoadAtoms(ctx, e, all, figure.Spans{From: in.from, To: in.to, YearFrom: in.yearFrom(), HistoryFrom: in.historyFrom})
	if err != nil {
		return nil, err
	}
	for _, s := range d.Sections {
		for _, p := range s.Panels {
			if f := asked[p.Figure]; controlled(p) && !f.HasBaseline() {
				f.SetBaseline(p.X, p.Y[0], p.Y[1], in.baseline(f.Definition))
			}
		}
	}
	figure.Together(all, atoms, in.format.Small)
	in.unread = unreadMonths(all)
	for _, f := range all {
		f.Forget(in.lacking)
		f.ForgetMonths(in.unread)
	}
	// A second look at a figure is at a copy: a panel adds lines to its own.
	for i, s := range d.Sections {
		for _, p := range s.Panels {
			bySection[i] = append(bySection[i], asked[p.Figure].Copy())
		}
	}
	return bySection, nil
}

// unreadMonths are the months shown of which no issue of any component was read.
func unreadMonths(all []*figure.Figure) map[string]bool {
	unread := map[string]bool{}
	for _, f := range all {
		month, issues := f.Index("month"), f.Index("issues")
		if f.Name != "feeds_by_month" || month < 0 || issues < 0 {
			continue
		}
		for _, row := range f.Rows {
			if name, _ := row[month].Value.(string); row[issues].Value == int64(0) || row[issues].Value == nil {
				unread[name] = true
			}
		}
	}
	return unread
}

// unreadPeriod says that of no month of the period an issue was read, anyUnread that of
// some month of it none was.
func (in *input) unreadPeriod() bool {
	read, _ := in.readMonths()
	return !read
}

func (in *input) anyUnread() bool {
	_, unread := in.readMonths()
	return unread
}

// readMonths says whether of some month of the period an issue was read, and of some none.
func (in *input) readMonths() (read, unread bool) {
	for m := in.from; m <= in.to; {
		if in.unread[m] {
			unread = true
		} else {
			read = true
		}
		next, err := addMonths(m, 1)
		if err != nil {
			return true, unread
		}
		m = next
	}
	return read, unread
}
