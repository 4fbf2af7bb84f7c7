package pack

import (
	"context"
	"sync"
	"time"

	"thawline/internal/chart"
	"thawline/internal/engine"
	"thawline/queries"
)

// Ready is what a pack needs and no store gives: the engine with the hospital's clock,
// and the chart library. Both make themselves ready while the caller opens the store.
type Ready struct {
	drawn *chart.Renderer
	// opened waits for the engine.
	opened func() (*engine.Engine, error)
}

// Prepare begins to make ready what Build works with, for a hospital's time zone.
// Close it.
func Prepare(ctx context.Context, zone *time.Location) (*Ready, error) {
	drawn, err := chart.New()
	if err != nil {
		return nil, err
	}
	type opening struct {
		e   *engine.Engine
		err error
	}
	begun := make(chan opening, 1)
	go func() {
		// The other page is made, and charts are drawn, beside the engine's work.
		e, err := engine.Open(ctx, engine.Options{Threads: engine.ThreadsBeside, AsWritten: true})
		if err == nil {
			err = loadClock(ctx, e, zone)
		}
		begun <- opening{e, err}
	}()
	return &Ready{drawn, sync.OnceValues(func() (*engine.Engine, error) {
		one := <-begun
		return one.e, one.err
	})}, nil
}

// Close ends the engine and lets the chart library go.
func (r *Ready) Close() {
	if e, _ := r.opened(); e != nil {
		e.Close()
	}
	r.drawn.Close()
}

// loadClock gives the engine macros and the hospital's clock.
func loadClock(ctx context.Context, e *engine.Engine, zone *time.Location) error {
	if err := loadMacros(ctx, e); err != nil {
		return err
	}
	return e.Zone(ctx, zone)
}

func loadMacros(ctx context.Context, e *engine.Engine) error {
	macros, err := queries.FS.ReadFile("macros.sql")
	if err != nil {
		return err
	}
	return e.Exec(ctx, "queries/macros.sql", string(macros))
}
