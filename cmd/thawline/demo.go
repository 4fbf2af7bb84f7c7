package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"thawline/internal/invent"
)

type demoCommand struct {
	Dir  string `default:"demo" type:"path" help:"Folder for the invented hospital; made anew."`
	Seed uint64 `default:"1" help:"Same seed, same hospital."`
}

// demoMonth is the month of the demonstration: the last that is invented.
const demoMonth = "2026-10"

// Run invents a hospital and then does what any hospital would do: the ordinary
// verbs over ordinary exports.
func (c *demoCommand) Run(ctx context.Context, s *streams) error {
	mine := filepath.Join(c.Dir, ".thawline-demo")
	if entries, err := os.ReadDir(c.Dir); err == nil && len(entries) > 0 {
		if _, err := os.Stat(mine); err != nil {
			return usageError{fmt.Errorf("--dir %s holds files that no demo made: name another folder", c.Dir)}
		}
		if err := os.RemoveAll(c.Dir); err != nil {
			return fmt.Errorf("clear the demo's folder: %w", err)
		}
	}
	if err := os.MkdirAll(c.Dir, 0o750); err != nil {
		return fmt.Errorf("make the demo's folder: %w", err)
	}
	if err := os.WriteFile(mine, []byte("Made by thawline demo, which clears this folder.\n"), 0o640); err != nil {
		return err
	}
	s.say("inventing a hospital in %s: no patient, place or number in it is real", c.Dir)
	if _, err := invent.Write(c.Dir, c.Seed, invent.Options{}); err != nil {
		return err
	}
	audit := auditCommand{where: where{Site: filepath.Join(c.Dir, "site.yaml")}, span: span{Period: demoMonth, Today: "2026-11-05"}}
	return audit.Run(ctx, s)
}
