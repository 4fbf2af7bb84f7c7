package audit

import (
	"context"
	"fmt"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/site"
	"thawline/internal/store"
	"thawline/queries"
)

// OpenReader starts an engine over the layers current and audit of a store, and
// the problems of its readings, and what its packs said:
// one view a table, each empty where the store has no such file yet.
func OpenReader(ctx context.Context, st *store.Store, s *site.Site) (*engine.Engine, error) {
	e, err := openEngine(ctx, s, 0)
	if err != nil {
		return nil, err
	}
	err = CurrentViews(ctx, e, st)
	if err == nil {
		err = AuditViews(ctx, e, st)
	}
	if err == nil {
		err = e.View(ctx, contract.Problems.Name, contract.Problems.Columns, st.SourceFiles(contract.Problems.Name), "")
	}
	if err == nil {
		var said []string
		for _, pack := range st.Packs() {
			said = append(said, st.LayerFiles(pack, "marks")...)
		}
		err = e.View(ctx, contract.PackMarks.Name, contract.PackMarks.Columns, said, "")
	}
	if err != nil {
		e.Close()
		return nil, err
	}
	return e, nil
}

// openEngine starts an engine that knows the macros and the hospital's clock.
// threads is the engine's, 0 its default.
func openEngine(ctx context.Context, s *site.Site, threads int) (*engine.Engine, error) {
	e, err := engine.Open(ctx, engine.Options{Threads: threads})
	if err != nil {
		return nil, err
	}
	macros, err := queries.FS.ReadFile("macros.sql")
	if err == nil {
		err = e.Exec(ctx, "queries/macros.sql", string(macros))
	}
	if err == nil {
		err = e.Zone(ctx, s.Zone)
	}
	if err != nil {
		e.Close()
		return nil, err
	}
	return e, nil
}

// CurrentViews makes one view a feed over the layer current, and recorded.
func CurrentViews(ctx context.Context, e *engine.Engine, st *store.Store) error {
	recorded := st.LayerFiles("current", contract.Recorded.Name)
	if _, found := st.LayerFacts("current"); found && len(recorded) == 0 {
		return fmt.Errorf("the layer current was made by an older program, which did not tell when feeds were kept: run thawline ingest, which makes it anew")
	}
	if err := e.View(ctx, contract.Recorded.Name, contract.Recorded.Columns, recorded, ""); err != nil {
		return fmt.Errorf("view of current %s: %w", contract.Recorded.Name, err)
	}
	for _, t := range contract.Feeds() {
		if err := e.View(ctx, t.Name, t.Columns, CurrentFiles(st, t), ""); err != nil {
			return fmt.Errorf("view of current %s: %w", t.Name, err)
		}
	}
	return nil
}

// CurrentFiles lists the files of a feed in the layer current: labs have one a
// test and year, issues and bedside one a year, the other feeds one.
func CurrentFiles(st *store.Store, t *contract.Table) []string {
	if t != contract.Labs {
		return st.LayerFiles("current", t.Name)
	}
	var files []string
	for _, test := range contract.Tests {
		files = append(files, st.LayerFiles("current", "labs/"+test)...)
	}
	return files
}

// AuditViews makes one view a table over the layer audit.
func AuditViews(ctx context.Context, e *engine.Engine, st *store.Store) error {
	for _, t := range contract.Audit() {
		if err := e.View(ctx, t.Name, t.Columns, st.LayerFiles("audit", t.Name), ""); err != nil {
			return fmt.Errorf("view of audit %s: %w", t.Name, err)
		}
	}
	return nil
}
