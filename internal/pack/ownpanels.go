package pack

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/figure"
	"thawline/internal/policy"
	"thawline/internal/site"
)

// ownTime is how long one figure of a site's own may take.
var ownTime = time.Minute

// ownReads lists the tables that a figure of a site's own may name: marks and
// findings, feeds, the tables that figures share, and the small ones.
func ownReads() ([]string, error) {
	open := []string{"months", "period", "policy", "rules", "site_storage", "local_days"}
	for _, t := range contract.Audit() {
		if t != contract.PackMarks && t != contract.Weights {
			open = append(open, t.Name)
		}
	}
	for _, t := range contract.Feeds() {
		if t != contract.Aliases {
			open = append(open, t.Name)
		}
	}
	all, err := shared()
	if err != nil {
		return nil, err
	}
	for _, q := range all {
		open = append(open, q.Name)
	}
	slices.Sort(open)
	return slices.Compact(open), nil
}

// personal are the columns that a figure of a site's own cannot read, whatever the
// table: those that point to a person by the contract, and what leads from a unit or a
// row to one. A pack is for a committee, and the SQL is not the program's.
var personal = sync.OnceValue(func() map[string]bool {
	all := map[string]bool{"bag_no": true, "activation_id": true, "source_file": true, "source_row": true, "bedside_file": true, "bedside_row": true}
	for _, t := range append(contract.Audit(), contract.Feeds()...) {
		for _, c := range t.Columns {
			// The name of an episode is another in a sandbox.
			if c.Identifies && c.Name != "episode_id" {
				all[c.Name] = true
			}
		}
	}
	return all
})

func isPersonal(column string) bool { return personal()[column] || strings.HasSuffix(column, "_raw") }

// episodeNumbers gives episodes numbers for the time of a drawing, by which a figure of
// a site's own joins what belongs together: their own names are made of what tells of a
// patient.
const episodeNumbers = "episode_numbers_of_panels"

// owned runs figures of a site's own, each in a sandbox, one at a time.
type owned struct {
	one sync.Mutex
	// open are the tables that they may name, unsteady the functions that they may not.
	open     []string
	unsteady map[string]bool
}

// run is Run of a figure of a site's own, or Try of it where there are no records: it
// sees the tables that its header names, without what tells of a person, and nothing
// else. What is wrong is *PanelFaults.
func (o *owned) run(ctx context.Context, e *engine.Engine, d *figure.Definition, try bool) (f *figure.Figure, err error) {
	o.one.Lock()
	defer o.one.Unlock()
	box, err := o.boxed(ctx, e, d)
	if err != nil {
		return nil, err
	}
	defer box.Close()
	limited, cancel := context.WithTimeout(ctx, ownTime)
	defer cancel()
	if try {
		f, err = &figure.Figure{Definition: d}, d.Try(limited, box)
	} else {
		f, err = d.Run(limited, box)
	}
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case limited.Err() != nil:
		return nil, &PanelFaults{[]error{fmt.Errorf("%s: it took more than %s and was stopped", d.Path, ownTime)}}
	case err != nil:
		return nil, &PanelFaults{[]error{explained(err)}}
	}
	return f, nil
}

// explained says why a column is missing that the table has elsewhere.
func explained(err error) error {
	var said *engine.Error
	if !errors.As(err, &said) {
		return err
	}
	for _, word := range strings.FieldsFunc(said.Message, func(r rune) bool { return r != '_' && (r < 'a' || r > 'z') }) {
		if isPersonal(word) {
			return fmt.Errorf("%w (%s is not in what a panel may read: no patient, requester, unit or row of an export is; count episodes instead)", said, word)
		}
	}
	return err
}

// boxed makes the sandbox of a figure after a look at what it names.
func (o *owned) boxed(ctx context.Context, e *engine.Engine, d *figure.Definition) (box *engine.Engine, err error) {
	if o.open == nil {
		if o.open, err = ownReads(); err != nil {
			return nil, err
		}
		if o.unsteady, err = e.Unsteady(ctx); err != nil {
			return nil, err
		}
	}
	fault := func(line int, format string, args ...any) error {
		return &PanelFaults{[]error{&engine.Error{What: d.Path, Line: line, Message: fmt.Sprintf(format, args...)}}}
	}
	for _, name := range d.Reads {
		if !slices.Contains(o.open, name) {
			return nil, fault(0, "header line reads names %q, wanted some of %s", name, strings.Join(o.open, ", "))
		}
	}
	points, answer := d.SQL()
	var parsed []*engine.Parsed
	for i, sql := range []string{points, answer} {
		one, err := e.Parse(ctx, d.Path, sql)
		if err != nil {
			return nil, &PanelFaults{[]error{err}}
		}
		for _, table := range one.Tables {
			if name := strings.ToLower(table.Name); !slices.Contains(d.Reads, name) && (i == 0 || name != "points") {
				return nil, fault(table.Line, "it reads %q, which its header does not name: add it to the line \"-- reads: …\"", table.Name)
			}
		}
		for _, function := range one.Functions {
			if o.unsteady[function.Name] {
				return nil, fault(function.Line, "%s gives another answer another time: the same records must give the same pack", function.Name)
			}
		}
		if one.Sampled {
			return nil, fault(0, "it draws rows at random: the same records must give the same pack")
		}
		parsed = append(parsed, one)
	}
	if err := e.Exec(ctx, d.Path, "CREATE TEMP TABLE IF NOT EXISTS "+episodeNumbers+" AS SELECT episodes.episode_id, row_number() OVER (ORDER BY episodes.first_issued_at, episodes.episode_id) AS number FROM episodes"); err != nil {
		return nil, err
	}
	// The clock's tables stand behind the macros.
	parts := []engine.Part{{Table: "zone", Columns: []string{"from_utc", "offset_s"}}, {Table: "local_days", Columns: []string{"day", "starts_at", "ends_at"}}}
	for _, table := range d.Reads {
		if table == "local_days" {
			continue
		}
		names, _, err := e.Rows(ctx, d.Path, "SELECT * FROM "+engine.Name(table)+" LIMIT 0")
		if err != nil {
			return nil, err
		}
		part := engine.Part{Table: table, Instead: map[string]string{}}
		var shown []string
		for _, name := range names {
			if isPersonal(name) {
				continue
			}
			if shown = append(shown, name); parsed[0].Uses(name) || parsed[1].Uses(name) {
				part.Columns = append(part.Columns, name)
			}
			if name == "episode_id" {
				part.Instead[name] = "(SELECT numbers.number FROM " + episodeNumbers + " AS numbers WHERE numbers.episode_id = held.episode_id)"
			}
		}
		// A table of which only the rows are counted has one column all the same.
		if part.Columns == nil {
			part.Columns = shown[:1]
		}
		if slices.Contains(names, "patient_id") && slices.ContainsFunc(contract.Feeds(), func(t *contract.Table) bool { return t.Name == table }) {
			part.Where = "held.patient_id IN (SELECT episodes.patient_id FROM episodes)"
			if table == contract.Issues.Name {
				part.Where += " OR held.component = 'plasma'"
			}
		}
		parts = append(parts, part)
	}
	return e.Sandbox(ctx, parts, func(box *engine.Engine) error {
		if err := loadMacros(ctx, box); err != nil {
			return err
		}
		return box.ZoneMacros(ctx)
	})
}

// CheckPanels reads the committee's dashboard and the panels of a site's own, runs
// these over tables without a row, and says every fault, with its place. n counts the
// panels; notes tell of files in their folder that nothing uses. It draws nothing.
func CheckPanels(ctx context.Context, s *site.Site, p *policy.Policy) (n int, notes []string, err error) {
	where := panelsOf(s)[0]
	_, defined, err := panels(nil)
	if err != nil {
		return 0, nil, err
	}
	own, err := where.load(defined)
	if err != nil || own == nil {
		return 0, nil, err
	}
	for _, section := range own.dashboard.Sections {
		n += len(section.Panels)
	}
	faults := &PanelFaults{}
	if len(own.figures) > 0 {
		e, err := engine.Open(ctx, engine.Options{Threads: engine.ThreadsBeside, AsWritten: true})
		if err != nil {
			return 0, nil, err
		}
		defer e.Close()
		in := &input{policy: p, site: s, zone: s.Zone, from: "2025-12", to: "2025-12", controlledStorage: s.ControlledStorage, files: map[string][]string{}}
		if err := in.load(ctx, e); err != nil {
			return 0, nil, err
		}
		tries := &owned{}
		for _, name := range slices.Sorted(maps.Keys(own.figures)) {
			f, err := tries.run(ctx, e, own.figures[name], true)
			if err == nil {
				// What its counts mean is asked of the same tables.
				if _, failed := figure.LoadAtoms(ctx, e, []*figure.Figure{f}, figure.Spans{From: in.from, To: in.to, YearFrom: in.from, HistoryFrom: in.from}); failed != nil {
					err = &PanelFaults{[]error{fmt.Errorf("%s: means: %w", own.figures[name].Path, failed)}}
				}
			}
			var found *PanelFaults
			if errors.As(err, &found) {
				faults.List = append(faults.List, found.List...)
			} else if err != nil {
				return 0, nil, err
			}
		}
	}
	if len(faults.List) > 0 {
		return 0, nil, faults
	}
	return n, own.notes, nil
}
