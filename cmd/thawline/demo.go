package main

import (
	"context"
	"errors"
	"fmt"
	"io"
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

// demoMonthBefore has a pack too, drawn before the exports of demoLastFiles
// arrived: so the last pack can say what changed.
const (
	demoMonthBefore = "2026-09"
	demoLastFiles   = "2026-11-04"
)

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
	site := where{Site: filepath.Join(c.Dir, "site.yaml")}
	// A month earlier: the last files have not arrived, and the committee meets
	// over the pack of the month before.
	inbox, later := filepath.Join(c.Dir, "inbox"), filepath.Join(c.Dir, "inbox-later")
	if err := moveFiles(inbox, later, "*_"+demoLastFiles+".csv"); err != nil {
		return err
	}
	before := auditCommand{where: site, span: span{Period: demoMonthBefore, Today: "2026-10-06"}}
	err := before.Run(ctx, &streams{out: io.Discard, err: io.Discard})
	if incomplete := (*incompleteError)(nil); err != nil && !errors.As(err, &incomplete) {
		return err
	}
	s.say("the pack of %s, before the last exports arrived: %s", demoMonthBefore, filepath.Join(c.Dir, "store", "packs", demoMonthBefore, "committee.html"))
	if err := moveFiles(later, inbox, "*"); err != nil {
		return err
	}
	if err := os.Remove(later); err != nil {
		return err
	}
	audit := auditCommand{where: site, span: span{Period: demoMonth, Today: "2026-11-05"}}
	return audit.Run(ctx, s)
}

// moveFiles moves what matches from one folder to another, which it makes.
func moveFiles(from, to, pattern string) error {
	if err := os.MkdirAll(to, 0o750); err != nil {
		return err
	}
	names, err := filepath.Glob(filepath.Join(from, pattern))
	if err != nil {
		return err
	}
	for _, name := range names {
		if err := os.Rename(name, filepath.Join(to, filepath.Base(name))); err != nil {
			return err
		}
	}
	return nil
}
